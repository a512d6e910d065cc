"""The time of a server that a general-purpose reading of RFC 4330 makes: a packet built by hand from its section 4."""

import asyncio
import contextlib
import struct
import time
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from typing import cast

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.probes import time_server
from gateway.probes.time_server import NoTimeError, ask, read_answer, request
from tests.mosquitto_broker import free_port

FROM_1900_TO_1970 = 2_208_988_800
"""Seconds (RFC 4330 section 3; RFC 868 prints the same number)."""


def answer(asked: bytes, unix_seconds: float, first: int = 0x24, stratum: int = 2) -> bytes:
    """Leap 0, version 4, mode 4; the client's transmit time stamp comes back as the originate one (section 5)."""
    era = (unix_seconds + FROM_1900_TO_1970) % (1 << 32)
    stamp = struct.pack("!II", int(era), int(era % 1 * (1 << 32)))
    return bytes([first, stratum, 0, 0]) + bytes(12) + stamp + asked[40:48] + stamp + stamp


Answering = Callable[[bytes], list[bytes]]


@asynccontextmanager
async def server(answering: Answering) -> AsyncIterator[int]:
    class Protocol(asyncio.DatagramProtocol):
        def connection_made(self, transport: asyncio.BaseTransport) -> None:
            self.transport = cast("asyncio.DatagramTransport", transport)

        def datagram_received(self, data: bytes, address: tuple[str, int]) -> None:
            for octets in answering(data):
                self.transport.sendto(octets, address)

    transport, _ = await asyncio.get_running_loop().create_datagram_endpoint(Protocol, ("127.0.0.1", 0))
    try:
        yield transport.get_extra_info("sockname")[1]
    finally:
        transport.close()


@pytest.mark.parametrize("off", [0.0, 3600.0, -86_400.0])
async def test_our_clock_is_compared_with_the_servers(off: float) -> None:
    async with server(lambda asked: [answer(asked, time.time() - off)]) as port:
        told = await ask("127.0.0.1", port)
    assert told.ahead_seconds == pytest.approx(off, abs=1)


async def test_forged_answers_are_passed_over() -> None:
    def forged(asked: bytes) -> list[bytes]:
        return [b"", answer(bytes(48), 0.0), answer(asked, 0.0, first=0x23), answer(asked, time.time())]

    async with server(forged) as port:
        told = await ask("127.0.0.1", port)
    assert abs(told.ahead_seconds) < 1


@pytest.mark.parametrize(("first", "stratum"), [(0xE4, 2), (0x24, 0), (0x24, 16)])
async def test_a_server_that_does_not_know_the_time_says_so(first: int, stratum: int) -> None:
    """Leap indicator 3: alarm; stratum 0: a kiss-o'-death message; 16: not synchronised (sections 4 and 8)."""
    async with server(lambda asked: [answer(asked, time.time(), first, stratum)]) as port:
        with pytest.raises(NoTimeError, match="does not know the time"):
            await ask("127.0.0.1", port)


async def test_a_server_that_is_not_there_is_said_to_be_gone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time_server, "ANSWER_SECONDS", 0.1)
    with pytest.raises(NoTimeError, match=r"Connection refused|did not answer"):
        await ask("127.0.0.1", free_port())
    async with server(lambda _: []) as port:
        with pytest.raises(NoTimeError, match=r"did not answer within 0.1 s"):
            await ask("127.0.0.1", port)


def test_the_time_after_2036_is_read_in_its_era() -> None:
    assert read_answer(answer(request(7), 2_100_000_000), 7) == pytest.approx(2_100_000_000)


def test_the_request_is_a_clients_of_version_4_and_tells_nothing_of_us() -> None:
    packet = request(0x0102030405060708)
    assert len(packet) == 48
    assert packet[0] == 0x23
    assert packet[1:40] == bytes(39)


@given(st.binary(max_size=200))
def test_any_packet_at_all_is_an_answer_or_none(packet: bytes) -> None:
    with contextlib.suppress(NoTimeError):
        read_answer(packet, 1)
