"""Packets that are too large, from the broker and for it (MQTT 5.0 sections 3.1.2.11.4 and 3.2.2.3.6)."""

import asyncio
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from structlog.testing import capture_logs

from gateway.bus.packet_size import MAXIMUM_PACKET_OCTETS, PacketLengths
from gateway.bus.topics import TopicGroup
from gateway.bus.trouble import PacketTooLargeError
from gateway.groundwork.part import State
from tests.bus.conftest import QUICK, OpenBus, options_for
from tests.bus.test_connection import CONNACK_5, CONNACK_311, stand_in
from tests.judged_frames import Post, offer
from tests.waiting import until

CONNACK_5_TAKES_200 = b"\x20\x08\x00\x00\x05\x27\x00\x00\x00\xc8"
"""Property 0x27, Maximum Packet Size: 200 octets (MQTT 5.0 section 3.2.2.3.6)."""


def _packet(length: int) -> bytes:
    """A PUBLISH whose length is written as MQTT 5.0 section 1.5.5 has it."""
    head = bytearray([0x30])
    rest = length
    while True:
        rest, digit = divmod(rest, 128)
        head.append(digit | (0x80 if rest else 0))
        if not rest:
            return bytes(head) + bytes(length)


@given(st.lists(st.integers(0, 20_000), max_size=5), st.integers(1, 3000))
def test_packets_that_fit_are_followed_however_they_are_cut(sizes: list[int], cut: int) -> None:
    lengths = PacketLengths()
    octets = b"".join(map(_packet, sizes))
    for start in range(0, len(octets), cut):
        lengths.read(octets[start : start + cut])
    with pytest.raises(PacketTooLargeError):
        lengths.read(_packet(MAXIMUM_PACKET_OCTETS + 1)[:5])


def test_the_largest_packet_that_fits_is_read() -> None:
    PacketLengths().read(_packet(MAXIMUM_PACKET_OCTETS))


async def test_the_broker_is_told_how_much_is_read(open_bus: OpenBus) -> None:
    asked: asyncio.Future[bytes] = asyncio.get_running_loop().create_future()

    async def take(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        if not asked.done():
            asked.set_result(await reader.read(1024))
        writer.close()

    server = await asyncio.start_server(take, "127.0.0.1", 0)
    async with server, open_bus(options_for(server.sockets[0].getsockname()[1])):
        assert b"\x05\x27" + MAXIMUM_PACKET_OCTETS.to_bytes(4, "big") in await asked


@pytest.mark.parametrize("mqtt_5", [True, False])
async def test_a_large_packet_ends_the_connection_before_it_is_read(open_bus: OpenBus, mqtt_5: bool) -> None:
    sent: list[int] = []

    async def serve(_version: int, _reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(CONNACK_5 if mqtt_5 else CONNACK_311)
        writer.write(b"\x31\xff\xff\xff\x7f\x00\x05topic")  # PUBLISH, retained, of 256 MiB
        count = 0
        try:
            while True:
                writer.write(bytes(65536))
                await writer.drain()
                count += 65536
        finally:
            sent.append(count)

    options = options_for(0, mqtt_5=mqtt_5)
    with capture_logs() as logged:
        async with stand_in(serve) as port, open_bus(replace(options, port=port)) as bus:
            await until(lambda: bool(sent) and not bus.connected)
            assert "more than 256 KiB" in bus.part().why
    assert sent[0] < 16 * 2**20  # what the kernels hold between the two; the gateway read none of it
    assert any("256 KiB" in entry.get("why", "") for entry in logged)


async def test_a_message_that_is_larger_than_the_broker_takes_is_counted_and_not_published(
    post: Post, open_bus: OpenBus
) -> None:
    seen = bytearray()

    async def serve(_version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(CONNACK_5_TAKES_200)
        writer.write(b"\x90\x05\x00\x01\x00\x00\x01" + b"\x40\x02\x00\x02")  # SUBACK and PUBACK for what it does first
        while octets := await reader.read(65536):
            seen.extend(octets)

    pace = replace(QUICK, keep_alive=60, learn=60)
    with capture_logs() as logged:
        async with stand_in(serve) as port, open_bus(options_for(port, pace=pace)) as bus:
            await until(lambda: bus.connected)
            offer(bus, post.hear(b"QA1BCD-9>APRS:>x"))
            await until(lambda: bus.tally[TopicGroup.LINES].published == 1)
            await until(lambda: bus.tally[TopicGroup.HEARD].oversize == 1)
            assert bus.tally[TopicGroup.HEARD].published == 0
            bus.tidy()
            bus.tidy()
            part = bus.part()
            assert part.state is State.DEGRADED
            assert "200 octets at most" in part.why
    assert b"/lines" in seen
    assert b"/heard" not in seen
    said = [entry for entry in logged if entry["event"] == "bus leaves out large messages"]
    assert [(entry["count"], entry["takes"]) for entry in said] == [(1, 200)]
