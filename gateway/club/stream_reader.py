"""Reads the stream in its order: an ephemeral consumer without acknowledgements, asked for more as it is read.

Nothing is kept in the engine about who read how far: the reader says from where, and begins again from there when the
consumer is gone or has fallen silent. What comes of one read of the socket comes as one batch.
"""

import asyncio
import json
from collections.abc import AsyncGenerator

from nats.aio.msg import Msg
from nats.js import api

from gateway.club.answers import AnswerTime
from gateway.club.engine import Engine, EngineUnansweredError, in_our_words
from gateway.club.follower import StreamMessage

ASKED_FOR = 2000
"""Messages that may be under way to us: it bounds what a slow reader holds, at about 5 MB of the longest frames."""

SILENT_SECONDS = 2.0
"""A hub hears its own beat each second, and those of all others: a stream this long silent is not read any more."""

KEPT_SECONDS = 30
_ANSWERED_PREFIX = "$JS.ACK."
_PLACES_OF_V1 = 9
"""Words of a reply subject without the engine's domain; with it there are two or three more (its ADR-15)."""


async def read_stream(
    engine: Engine, first: int, answer_time: AnswerTime | None = None
) -> AsyncGenerator[list[StreamMessage], None]:
    """The messages from that sequence on, in batches. Raises `EngineUnansweredError` when nothing comes any more.

    Raises `RefusedError` where the engine gives no consumer. `answer_time`: of whoever reads again after that.
    """
    answer_time = answer_time or AnswerTime()
    arrived = asyncio.Event()
    waiting: list[StreamMessage] = []
    inbox = engine.client.new_inbox()
    under_way = 0

    async def on_message(message: Msg) -> None:
        if message.reply.startswith(_ANSWERED_PREFIX):
            waiting.append(_read(message))
            arrived.set()

    consumer = await _consumer(engine, first, answer_time)
    with in_our_words():
        subscription = await engine.client.subscribe(inbox, cb=on_message)
    more = f"$JS.API.CONSUMER.MSG.NEXT.{engine.subjects.stream}.{consumer}"
    try:
        while True:
            if under_way <= ASKED_FOR // 2:
                with in_our_words():
                    await engine.client.publish(more, json.dumps({"batch": ASKED_FOR - under_way}).encode(), inbox)
                under_way = ASKED_FOR
            try:
                async with asyncio.timeout(SILENT_SECONDS):
                    await arrived.wait()
            except TimeoutError:
                raise EngineUnansweredError from None
            arrived.clear()
            batch, waiting[:] = list(waiting), []
            under_way -= len(batch)
            yield batch
    finally:
        if not engine.lost.is_set():
            await subscription.unsubscribe()


async def _consumer(engine: Engine, first: int, answer_time: AnswerTime) -> str:
    """The name of a new consumer."""
    asked_for = api.ConsumerConfig(
        deliver_policy=api.DeliverPolicy.BY_START_SEQUENCE,
        opt_start_seq=first,
        ack_policy=api.AckPolicy.NONE,
        inactive_threshold=KEPT_SECONDS,
        mem_storage=True,
        num_replicas=1,
    )
    try:
        with in_our_words():
            async with asyncio.timeout(answer_time.seconds):
                consumer = await engine.stream.add_consumer(engine.subjects.stream, asked_for)
    except EngineUnansweredError:
        answer_time.unanswered()
        raise
    answer_time.answered()
    return consumer.name


def _read(message: Msg) -> StreamMessage:
    words = message.reply.split(".")
    first = 0 if len(words) == _PLACES_OF_V1 else 2
    return StreamMessage(int(words[first + 5]), int(words[first + 7]) // 1_000_000, message.subject, message.data)
