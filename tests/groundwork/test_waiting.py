"""Waiting for an event, but not for ever."""

import asyncio

from gateway.groundwork.waiting import happens_within


async def test_it_is_told_whether_an_event_has_happened() -> None:
    event = asyncio.Event()
    assert not await happens_within(event, 0)
    asyncio.get_running_loop().call_soon(event.set)
    assert await happens_within(event, 60)
    assert await happens_within(event, 0)
