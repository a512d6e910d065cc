"""Brokers that misbehave, played by a few lines of asyncio that know the packets of MQTT 3.1.1 and 5.0, chapter 3."""

import asyncio
import threading
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import replace

import pytest
from paho.mqtt.client import Client
from paho.mqtt.properties import Properties

from gateway.bus.bus import Bus
from gateway.bus.connection import BrokerConnection
from gateway.bus.options import Tls
from gateway.bus.publisher import Publisher
from gateway.bus.trouble import BrokerError
from gateway.feed.stations import Stations
from tests.bus.conftest import QUICK, OpenBus, options_for
from tests.judged_frames import Post
from tests.mosquitto_broker import FAIL_SAFE_SECONDS
from tests.waiting import until

CONNACK_311 = b"\x20\x02\x00\x00"
CONNACK_5 = b"\x20\x03\x00\x00\x00"
CONNACK_5_REFUSES_VERSION = b"\x20\x03\x00\x84\x00"
CONNACK_311_REFUSES_VERSION = b"\x20\x02\x00\x01"

Serve = Callable[[int, asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]


@asynccontextmanager
async def stand_in(serve: Serve) -> AsyncIterator[int]:
    """Reads each client's CONNECT, then lets `serve` go on, told which version of MQTT was asked for (4 is 3.1.1)."""
    tasks = set()

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        tasks.add(task)
        try:
            await serve(_version_of(await reader.read(1024)), reader, writer)
        except (ConnectionError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    server = await asyncio.start_server(take, "127.0.0.1", 0)
    try:
        yield server.sockets[0].getsockname()[1]
    finally:
        server.close()
        await asyncio.sleep(0.01)  # a connection may just have been accepted: nothing tells when that is over
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)
        await asyncio.sleep(0)  # what was closed is let go of in the loop's next turn


def _version_of(connect: bytes) -> int:
    start = connect.find(b"\x00\x04MQTT")
    return connect[start + 6] if start >= 0 else 0


@pytest.mark.parametrize("refusal", [b"", CONNACK_5_REFUSES_VERSION, CONNACK_311_REFUSES_VERSION])
async def test_a_broker_that_knows_no_mqtt_5_is_spoken_to_in_3_1_1(open_bus: OpenBus, refusal: bytes) -> None:
    asked = []

    async def serve(version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        asked.append(version)
        writer.write(refusal if version == 5 else CONNACK_311)
        if version == 4:
            await reader.read()

    async with stand_in(serve) as port, open_bus(options_for(port)) as bus:
        await until(lambda: bus.connected)
        assert bus.protocol == "3.1.1"
    assert asked == [5, 4]


async def test_a_broker_that_has_spoken_5_is_not_taken_to_be_too_old_for_it(open_bus: OpenBus) -> None:
    asked = []

    async def serve(version: int, _reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        asked.append(version)
        if len(asked) == 1:
            writer.write(CONNACK_5)

    async with stand_in(serve) as port, open_bus(options_for(port)):
        await until(lambda: len(asked) > 5)
    assert set(asked) == {5}


async def test_a_broker_that_never_answers_is_left_and_tried_again(open_bus: OpenBus) -> None:
    asked = []

    async def serve(version: int, reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        asked.append(version)
        await reader.read()

    async with stand_in(serve) as port, open_bus(options_for(port, pace=replace(QUICK, connect=0.05))) as bus:
        await until(lambda: len(asked) >= 4)
        assert "does not answer" in bus.part().why
    assert asked[:4] == [5, 4, 5, 4]


@pytest.mark.parametrize(
    "garbage",
    [
        b"\xff" * 100,
        b"\x30\xff\xff\xff\xff\xff",  # a length that does not end (MQTT 5.0 section 1.5.5)
        b"\x30\x06\x00\x03\xff\xfe\xfdx",  # a topic that is no UTF-8
        b"\x90\x00",  # a SUBACK for nothing
        b"\xe0\x02\x8e\x00",  # DISCONNECT: session taken over
        b"\x20\x03\x00\x00\x00",  # CONNACK, again
        b"\x00",
    ],
)
async def test_a_broker_that_talks_nonsense_ends_nothing_but_its_connection(open_bus: OpenBus, garbage: bytes) -> None:
    connections = []

    async def serve(version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        connections.append(version)
        writer.write(CONNACK_5 if version == 5 else CONNACK_311)
        writer.write(garbage)
        await reader.read()

    pace = replace(QUICK, answer=0.05)
    async with stand_in(serve) as port, open_bus(options_for(port, pace=pace)):
        await until(lambda: len(connections) >= 3)


async def test_a_cancellation_that_comes_with_a_lost_connection_is_heeded(
    post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    lost = asyncio.Event()

    async def listen(_publisher: Publisher, _connection: BrokerConnection) -> None:
        await lost.wait()
        raise BrokerError("lost")

    async def serve(_version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(CONNACK_5)
        await reader.read()

    monkeypatch.setattr(Publisher, "_listen", listen)
    async with stand_in(serve) as port, asyncio.timeout(FAIL_SAFE_SECONDS):
        bus = Bus(options_for(port), post.now, stations=Stations())
        running = asyncio.create_task(bus.run())
        await until(lambda: bus.connected)
        lost.set()
        running.cancel()
        await asyncio.wait([running])
        assert running.cancelled()


async def test_a_bus_that_is_cancelled_closes_the_connection_that_it_was_making(post: Post) -> None:
    asked, closed = asyncio.Event(), asyncio.Event()

    async def serve(_version: int, reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        asked.set()
        await reader.read()
        closed.set()

    async with stand_in(serve) as port, asyncio.timeout(FAIL_SAFE_SECONDS):
        running = asyncio.create_task(Bus(options_for(port), post.now, stations=Stations()).run())
        await asked.wait()
        running.cancel()
        await asyncio.wait([running])
        await closed.wait()


async def test_a_connection_that_comes_about_after_it_was_given_up_is_closed(
    post: Post, monkeypatch: pytest.MonkeyPatch
) -> None:
    connecting, released, taken, closed = threading.Event(), threading.Event(), asyncio.Event(), asyncio.Event()
    connect = Client.connect

    def slow_connect(client: Client, host: str, port: int, keep_alive: int, *, properties: Properties | None) -> object:
        connecting.set()
        released.wait(FAIL_SAFE_SECONDS)
        return connect(client, host, port, keep_alive, properties=properties)

    async def watch(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        taken.set()
        await reader.read()
        closed.set()
        writer.close()

    monkeypatch.setattr(Client, "connect", slow_connect)
    server = await asyncio.start_server(watch, "127.0.0.1", 0)
    async with server, asyncio.timeout(FAIL_SAFE_SECONDS):
        bus = Bus(options_for(server.sockets[0].getsockname()[1]), post.now, stations=Stations())
        running = asyncio.create_task(bus.run())
        await asyncio.to_thread(connecting.wait)
        running.cancel()
        await asyncio.wait([running])
        assert not taken.is_set()
        released.set()
        await closed.wait()


async def test_a_bus_that_is_cancelled_does_not_wait_for_a_handshake_that_never_comes(post: Post) -> None:
    greeted = asyncio.Event()

    async def serve(_version: int, reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        greeted.set()
        await reader.read()

    options = replace(options_for(0), tls=Tls(), pace=replace(QUICK, connect=10 * FAIL_SAFE_SECONDS))
    async with stand_in(serve) as port, asyncio.timeout(FAIL_SAFE_SECONDS):
        running = asyncio.create_task(Bus(replace(options, port=port), post.now, stations=Stations()).run())
        await greeted.wait()
        running.cancel()
        await asyncio.wait([running])


async def test_a_drain_without_a_connection_ends_at_once(open_bus: OpenBus) -> None:
    async def serve(_version: int, reader: asyncio.StreamReader, _writer: asyncio.StreamWriter) -> None:
        await reader.read()

    async with stand_in(serve) as port, open_bus(options_for(port)) as bus, asyncio.timeout(FAIL_SAFE_SECONDS):
        await asyncio.sleep(0)
        await bus.drain(10 * FAIL_SAFE_SECONDS)


@pytest.mark.parametrize(
    ("host", "why"),
    [
        ("no-such-host.invalid", "cannot be resolved"),  # RFC 2606: never resolves
        ("a..b", "cannot be resolved"),
        ("127.0.0.1", "refused"),
    ],
)
async def test_a_broker_that_cannot_be_reached_is_told_in_words(open_bus: OpenBus, host: str, why: str) -> None:
    async with open_bus(replace(options_for(1), host=host)) as bus:
        await until(lambda: why in bus.part().why)
