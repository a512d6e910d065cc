"""Waiting for an event, but not for ever."""

import asyncio
import contextlib


async def happens_within(event: asyncio.Event, seconds: float) -> bool:
    """Wait until the event happens, no longer than that; whether it has."""
    with contextlib.suppress(TimeoutError):
        async with asyncio.timeout(seconds):
            await event.wait()
    return event.is_set()
