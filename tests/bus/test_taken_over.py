"""Another client with our identifier: the broker then closes the older session (MQTT 5.0 section 3.1.4, 3.1.1 too)."""

import asyncio

from gateway.bus.trouble import BrokerError, ClosedError, SilentCloses
from tests.bus.conftest import OpenBus, options_for
from tests.bus.test_connection import CONNACK_5, CONNACK_311, stand_in
from tests.waiting import until

UNSPECIFIED = 128
"""What paho reports of a connection that ended without a DISCONNECT."""


async def test_a_session_that_was_taken_over_is_told_as_such(open_bus: OpenBus) -> None:
    async def serve(_version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(CONNACK_5 + b"\xe0\x02\x8e\x00")  # DISCONNECT: 0x8E, Session taken over (section 3.14.2.1)
        await reader.read()

    async with stand_in(serve) as port, open_bus(options_for(port)) as bus:
        await until(lambda: bus.part().why == "another session with this client id")


async def test_with_mqtt_3_1_1_closes_without_a_reason_make_it_suspect_another_client(open_bus: OpenBus) -> None:
    async def serve(_version: int, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(CONNACK_311)
        await reader.read(1)

    async with stand_in(serve) as port, open_bus(options_for(port, mqtt_5=False)) as bus:
        await until(lambda: "times a minute: perhaps another client has this id" in bus.part().why)
        assert bus.part().why.startswith("the broker closed without a reason, ")


def test_closes_are_counted_over_one_minute_and_one_alone_is_no_suspicion() -> None:
    closes = SilentCloses()
    counted = []
    for at_ms in (0, 10_000, 59_999, 60_000, 200_000):
        trouble = closes.explain(ClosedError("closed", UNSPECIFIED), at_ms)
        counted.append(trouble and trouble.why.split(", ")[1].split(" ")[0])
    assert counted == [None, "2", "3", "3", None]


def test_other_ends_of_a_connection_are_no_suspicion() -> None:
    closes = SilentCloses()
    for error in (BrokerError("no answer"), ClosedError("closed", 139)) * 3:
        assert closes.explain(error, 0) is None
