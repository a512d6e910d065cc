"""A member's beat: a small message of its own each second, whose stamp tells what the stream's clock says."""

import asyncio
from collections.abc import Callable

from gateway.club.engine import AbsentError, Engine, EngineUnansweredError, RefusedError
from gateway.club.stream_clock import StreamClock
from gateway.groundwork.clocks import steady_ms

BEAT_SECONDS = 1.0
SHORTEST_PAUSE_SECONDS = 0.1
"""After a beat for whose answer a second or more was waited."""


async def keep_beating(  # noqa: PLR0913 - what it says, and whom it tells
    engine: Engine,
    subject: str,
    clock: StreamClock,
    *,
    on_beat: Callable[[int], None],
    on_absent: Callable[[], None] = lambda: None,
    says: bytes = b"",
) -> None:
    """Beat for ever, and tell of each answer: `on_absent` where the engine has no such stream. `says`: what is in it.

    `on_beat` is told the beat's number in the stream. What is not answered tells nothing: `clock` then knows less and
    less surely, and soon no more.
    """
    while True:
        begun_ms = steady_ms()
        try:
            on_beat(await beat(engine, subject, clock, says))
        except AbsentError:
            on_absent()
        except (EngineUnansweredError, RefusedError):
            pass
        await asyncio.sleep(max(SHORTEST_PAUSE_SECONDS, BEAT_SECONDS - (steady_ms() - begun_ms) / 1000))


async def beat(engine: Engine, subject: str, clock: StreamClock, says: bytes = b"") -> int:
    """Beat once; gives back the beat's number in the stream. Raises as `Engine.publish` does."""
    sent_ms = steady_ms()
    sequence = await engine.publish(subject, says)
    answered_ms = steady_ms()
    clock.measured(sent_ms, await engine.stamp_ms(subject, sequence), answered_ms)
    return sequence
