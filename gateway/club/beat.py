"""A member's beat: a small message of its own each second, whose stamp tells what the stream's clock says."""

import asyncio
import contextlib

from gateway.club.engine import Engine, RefusedError, UnansweredError
from gateway.club.steady import steady_ms
from gateway.club.stream_clock import StreamClock

BEAT_SECONDS = 1.0


async def keep_beating(engine: Engine, subject: str, clock: StreamClock) -> None:
    """Beat for ever. What is not answered tells nothing: `clock` then knows less and less surely, and soon no more."""
    while True:
        with contextlib.suppress(UnansweredError, RefusedError):
            await beat(engine, subject, clock)
        await asyncio.sleep(BEAT_SECONDS)


async def beat(engine: Engine, subject: str, clock: StreamClock) -> None:
    """Beat once. Raises as `Engine.publish` does."""
    sent_ms = steady_ms()
    stored = await engine.publish(subject, b"")
    answered_ms = steady_ms()
    clock.measured(sent_ms, await engine.stamp_ms(subject, stored.sequence), answered_ms)
