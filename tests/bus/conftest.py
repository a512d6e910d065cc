"""A real broker for each test that asks for one, and a bus that is not left running."""

import asyncio
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager

import pytest

from gateway.bus.bus import Bus
from gateway.bus.options import BusOptions, BusPace
from gateway.feed.stations import Stations
from gateway.groundwork.back_off import Pauses
from tests.judged_frames import Post
from tests.mosquitto_broker import MosquittoBroker
from tests.options import bus_options

QUICK = BusPace(pauses=Pauses(0.02, 0.05), learn=1.0, keep_alive=1)
"""A pace for tests: they wait for what happens, and it should not be long in coming."""

OpenBus = Callable[..., AbstractAsyncContextManager[Bus]]


@pytest.fixture
async def broker() -> AsyncIterator[MosquittoBroker]:
    async with MosquittoBroker() as running:
        yield running


@pytest.fixture
def post() -> Post:
    return Post()


@pytest.fixture
def open_bus(post: Post) -> OpenBus:
    """Runs a bus for a block; at its end it is cut off without a word, where it was not drained."""

    @asynccontextmanager
    async def running_bus(options: BusOptions, **more: object) -> AsyncIterator[Bus]:
        listed = options.discovery.callsigns if options.discovery else ()
        stations = Stations(forget_ms=options.stations_forget_ms, followed=listed)
        bus = Bus(options, post.now, stations=stations, **more)  # type: ignore[arg-type] # handed on as they are
        running = asyncio.create_task(bus.run())
        try:
            yield bus
        finally:
            running.cancel()
            await asyncio.wait([running])
            if not running.cancelled():
                running.result()

    return running_bus


def options_for(port: int, **more: object) -> BusOptions:
    """Options for a broker on loopback."""
    return bus_options(port, **{"pace": QUICK, **more})
