import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

import pytest

from gateway.feed.heard_object import HeardPayload
from gateway.frames.ax25 import MAXIMUM_REPEATERS
from gateway.lines.server import LineServer
from tests.answers import figure
from tests.judged_frames import NOON_MS, Post
from tests.options import lines_options
from tests.waiting import until

FAIL_SAFE_SECONDS = 20.0
"""How long anything may take before a test gives up. Nothing waits for this long when all is well."""

LINE = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>under way"
LONG_LINE = LINE + b" for long" * 150


def heard(line: bytes, post: Post | None = None) -> HeardPayload:
    return HeardPayload((post or Post()).hear(line))


@asynccontextmanager
async def open_port(**options: int) -> AsyncIterator[LineServer]:
    """Runs a text port on a free port for a block; at its end it is cut off, where it was not drained."""
    of_test = lines_options(**options)
    server = LineServer(of_test, lambda: NOON_MS)
    running = asyncio.create_task(server.run())
    try:
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            await until(lambda: server.port is not None)
            yield server
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running


@asynccontextmanager
async def client_of(server: LineServer) -> AsyncIterator[tuple[asyncio.StreamReader, asyncio.StreamWriter]]:
    """A program that is connected, and that the port knows of."""
    port = server.port
    before = figure(server, "clients")
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    await until(lambda: figure(server, "clients") > before)
    try:
        yield reader, writer
    finally:
        writer.transport.abort()


async def test_every_client_gets_the_monitor_text_of_what_is_heard_with_cr_lf() -> None:
    async with open_port() as server, client_of(server) as (one, _), client_of(server) as (other, _):
        server.offer([heard(LINE)])
        assert await one.readuntil(b"\n") == LINE + b"\r\n"
        assert await other.readuntil(b"\n") == LINE + b"\r\n"
        assert figure(server, "lines") == 1


async def test_lines_come_in_the_order_of_hearing_and_none_is_left_out() -> None:
    lines = [b"QA%dAA>APRS:>%d" % (number % 10, number) for number in range(1000)]
    async with open_port() as server, client_of(server) as (reader, _):
        for line in lines:
            server.offer([heard(line)])
        assert [await reader.readuntil(b"\n") for _ in lines] == [line + b"\r\n" for line in lines]


async def test_octets_from_the_air_pass_unchanged_and_end_at_the_first_line_end() -> None:
    information = bytes(octet for octet in range(256) if octet not in b"\r\n")
    async with open_port() as server, client_of(server) as (reader, _):
        server.offer([heard(b"QA1BCD>APRS:>" + information + b"\rQZ9BAD>APRS:>injected")])
        server.offer([heard(LINE)])
        assert await reader.readuntil(b"\n") == b"QA1BCD>APRS:>" + information + b"\r\n"
        assert await reader.readuntil(b"\n") == LINE + b"\r\n"


async def test_a_damaged_frame_has_no_line() -> None:
    too_long_a_path = b"QA1BCD>APRS" + b",QD1AA" * (MAXIMUM_REPEATERS + 1) + b":>none"
    async with open_port() as server, client_of(server) as (reader, _):
        server.offer([heard(too_long_a_path)])
        server.offer([heard(LINE)])
        assert await reader.readuntil(b"\n") == LINE + b"\r\n"


async def test_what_goes_up_has_no_second_line() -> None:
    async with open_port() as server, client_of(server) as (reader, _):
        payload = heard(LINE)
        server.offer([payload])
        server.offer_forwarded([payload], 0)
        server.offer([heard(b"QB2BCD>APRS:>next")])
        assert await reader.readuntil(b"\n") == LINE + b"\r\n"
        assert await reader.readuntil(b"\n") == b"QB2BCD>APRS:>next\r\n"


async def test_what_a_client_says_is_thrown_away_and_its_lines_still_come() -> None:
    async with open_port() as server, client_of(server) as (reader, writer):
        writer.write(b"hello\r\n" * 10_000)
        server.offer([heard(LINE)])
        assert await reader.readuntil(b"\n") == LINE + b"\r\n"


async def test_a_client_that_does_not_read_is_dropped_and_the_others_lose_nothing() -> None:
    async with open_port(client_octets=4096, kernel_octets=4096) as server, client_of(server) as (reader, _):
        with socket.socket() as deaf:
            deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            deaf.connect(("127.0.0.1", server.port))
            await until(lambda: figure(server, "clients") == 2)
            received = 0
            while not figure(server, "clients_dropped"):
                server.offer([heard(LONG_LINE)])
                assert await reader.readuntil(b"\n") == LONG_LINE + b"\r\n"
                received += 1
            await until(lambda: figure(server, "clients") == 1)
            server.offer([heard(LONG_LINE)])
            assert await reader.readuntil(b"\n") == LONG_LINE + b"\r\n"
        assert figure(server, "lines") == received + 1
        assert figure(server, "clients_dropped") == 1
        assert figure(server, "shed") == 0


async def test_one_client_more_than_there_is_room_for_is_turned_away() -> None:
    async with open_port(clients=1) as server, client_of(server) as (reader, _):
        refused, refused_writer = await asyncio.open_connection("127.0.0.1", server.port)
        assert await refused.read() == b""
        refused_writer.close()
        assert figure(server, "clients_turned_away") == 1
        server.offer([heard(LINE)])
        assert await reader.readuntil(b"\n") == LINE + b"\r\n"


async def test_a_client_that_leaves_makes_room_for_another() -> None:
    async with open_port(clients=1) as server:
        async with client_of(server):
            pass
        await until(lambda: figure(server, "clients") == 0)
        async with client_of(server) as (reader, _):
            server.offer([heard(LINE)])
            assert await reader.readuntil(b"\n") == LINE + b"\r\n"


async def test_more_than_may_wait_sheds_the_oldest_and_counts_it() -> None:
    async with open_port(waiting_lines=3) as server, client_of(server) as (reader, _):
        for number in range(5):
            server.offer([heard(b"QA1BCD>APRS:>%d" % number)])
        assert await reader.readuntil(b"\n") == b"QA1BCD>APRS:>2\r\n"
        assert figure(server, "shed") == 2


async def test_without_clients_nothing_is_kept() -> None:
    async with open_port() as server:
        server.offer([heard(LINE)])
        async with client_of(server) as (reader, _):
            server.offer([heard(b"QB2BCD>APRS:>later")])
            assert await reader.readuntil(b"\n") == b"QB2BCD>APRS:>later\r\n"
        assert figure(server, "shed") == 0


async def test_a_drain_writes_what_waits_and_takes_leave() -> None:
    async with open_port() as server, client_of(server) as (reader, _):
        for number in range(600):
            server.offer([heard(b"QA1BCD>APRS:>%d" % number)])
        await server.drain(FAIL_SAFE_SECONDS)
        assert (await reader.read()).count(b"\r\n") == 600
        assert server.port is None


async def test_a_drain_does_not_wait_for_a_client_that_does_not_read() -> None:
    async with open_port(client_octets=1 << 20, kernel_octets=4096) as server:
        with socket.socket() as deaf:
            deaf.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)
            deaf.connect(("127.0.0.1", server.port))
            await until(lambda: figure(server, "clients") == 1)
            for _ in range(1000):
                server.offer([heard(LINE)])
            await server.drain(0.05)
            await until(lambda: figure(server, "clients") == 0)


async def test_a_port_that_is_taken_is_said_and_tried_again_until_it_is_free() -> None:
    taken = socket.create_server(("127.0.0.1", 0))
    port = taken.getsockname()[1]
    server = LineServer(lines_options(port, retry_seconds=0.01), lambda: NOON_MS)
    running = asyncio.create_task(server.run())
    await until(lambda: server.part().why == "Address already in use")
    taken.close()
    await until(lambda: server.port == port)
    running.cancel()
    with pytest.raises(asyncio.CancelledError):
        await running


async def test_a_drain_of_one_that_never_ran_returns_at_once() -> None:
    await LineServer(lines_options(), lambda: NOON_MS).drain(FAIL_SAFE_SECONDS)
