"""Reads the stream in its order: an ephemeral consumer without acknowledgements, asked for more as it is read.

Nothing is kept in the engine about who read how far: the reader says from where, and begins again from there when the
consumer is gone or has fallen silent. What comes of one read of the socket comes as one batch.

The engine numbers what it gives to a consumer, so what is lost on the way is missed. Between the numbers of the stream
there are gaps, too, for whoever reads some slices only. That nothing was taken out of the stream before it was read
shows there from time to time: the stream still holds all behind the place where the reader stood at the last look.
"""

import asyncio
import json
from collections.abc import AsyncGenerator
from dataclasses import dataclass, field

from nats.aio.msg import Msg
from nats.js import api

from gateway.club.answers import AnswerTime
from gateway.club.engine import Engine, EngineUnansweredError, in_our_words
from gateway.club.follower import StreamMessage
from gateway.club.order import GapError
from gateway.club.slices import ALL, Slices
from gateway.groundwork.clocks import steady_ms
from gateway.groundwork.waiting import happens_within

ASKED_FOR = 2000
"""Messages that may be under way to us: it bounds what a slow reader holds, at about 5 MB of the longest frames."""

SILENT_SECONDS = 2.0
"""A hub hears its own beat each second, and those of all others: a stream this long silent is not read any more."""

KEPT_SECONDS = 30
LOOK_BACK_SECONDS = 30.0
_ANSWERED_PREFIX = "$JS.ACK."
_PLACES_OF_V1 = 9
"""Words of a reply subject without the engine's domain; with it there are two or three more (its ADR-15)."""


@dataclass(slots=True)
class Delivery:
    """What came and was not read yet."""

    waiting: list[StreamMessage] = field(default_factory=list)
    arrived: asyncio.Event = field(default_factory=asyncio.Event)
    number: int = 0
    """Of the last message that the engine gave to this consumer."""

    lost: bool = False
    """A message was lost on its way: nothing behind it is read."""

    async def take(self, message: Msg) -> None:
        """What the client calls for every message."""
        if not message.reply.startswith(_ANSWERED_PREFIX):
            return  # the engine's word that a request is over
        number, one = _read(message)
        self.lost = self.lost or number != self.number + 1
        if not self.lost:
            self.number = number
            self.waiting.append(one)
        self.arrived.set()

    async def next(self) -> list[StreamMessage]:
        """What came since. Raises `EngineUnansweredError` where nothing does, or something was lost."""
        if not await happens_within(self.arrived, SILENT_SECONDS):
            raise EngineUnansweredError
        self.arrived.clear()
        batch, self.waiting = self.waiting, []
        if self.lost and not batch:
            raise EngineUnansweredError
        if self.lost:
            self.arrived.set()
        return batch


async def read_stream(
    engine: Engine, first: int, slices: Slices = ALL, answer_time: AnswerTime | None = None
) -> AsyncGenerator[list[StreamMessage], None]:
    """The messages from that sequence on, in batches. Raises `EngineUnansweredError` when nothing comes any more.

    Raises `RefusedError` where the engine gives no consumer; `GapError` where messages are gone that were not read, if
    only some `slices` are read: else their numbers tell. `answer_time`: of whoever reads again after that.
    """
    delivery = Delivery()
    inbox = engine.client.new_inbox()
    consumer = await _consumer(engine, first, slices, answer_time or AnswerTime())
    with in_our_words():
        subscription = await engine.client.subscribe(inbox, cb=delivery.take)
    more = f"$JS.API.CONSUMER.MSG.NEXT.{engine.subjects.stream}.{consumer}"
    under_way = 0
    look_back = None if slices.are_all else LookBack(engine, first - 1)
    try:
        while True:
            if under_way <= ASKED_FOR // 2:
                with in_our_words():
                    await engine.client.publish(more, json.dumps({"batch": ASKED_FOR - under_way}).encode(), inbox)
                under_way = ASKED_FOR
            if look_back is not None:
                await look_back.when_due()
            batch = await delivery.next()
            under_way -= len(batch)
            yield batch
            if look_back is not None:
                look_back.read = batch[-1].sequence
    finally:
        if not engine.lost.is_set():
            await subscription.unsubscribe()


class LookBack:
    """Sees that nothing was taken out of the stream before it was read."""

    def __init__(self, engine: Engine, read: int) -> None:
        self.read = read
        self._engine = engine
        self._stood = read
        self._due_ms = 0.0

    async def when_due(self) -> None:
        """Raises `GapError`."""
        if steady_ms() < self._due_ms:
            return
        first, _ = await self._engine.bounds()
        if first > self._stood + 1:
            raise GapError(f"the stream begins with message {first} by now, and was read up to {self._stood}")
        self._stood, self._due_ms = self.read, steady_ms() + LOOK_BACK_SECONDS * 1000


async def _consumer(engine: Engine, first: int, slices: Slices, answer_time: AnswerTime) -> str:
    """The name of a new consumer."""
    asked_for = api.ConsumerConfig(
        deliver_policy=api.DeliverPolicy.BY_START_SEQUENCE,
        opt_start_seq=first,
        filter_subjects=engine.subjects.taken_by(slices) or None,
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


def _read(message: Msg) -> tuple[int, StreamMessage]:
    """A message, and which one of its consumer's it is."""
    words = message.reply.split(".")
    first = 0 if len(words) == _PLACES_OF_V1 else 2
    stamp_ms = int(words[first + 7]) // 1_000_000
    return int(words[first + 6]), StreamMessage(int(words[first + 5]), stamp_ms, message.subject, message.data)
