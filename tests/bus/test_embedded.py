"""The embedded broker, with our bus as its client and `mosquitto_sub`, where it is installed, as a stranger."""

import asyncio
import logging
import sys

import aiomqtt
import pytest

from gateway.bus.embedded import EmbeddedBroker, EmbeddedBrokerError, PortTakenError
from gateway.bus.topics import TopicGroup
from tests.bus.conftest import OpenBus, options_for
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import BrokerAddress, retained, witness
from tests.waiting import until

ROOT = "stile/QX1GAT-10"


async def test_the_embedded_broker_serves_clients_at_a_free_port() -> None:
    async with EmbeddedBroker(0) as broker, aiomqtt.Client("127.0.0.1", broker.port) as client:
        await client.subscribe("greeting")
        await client.publish("greeting", b"hello", qos=1)
        message = await anext(aiter(client.messages))
        assert message.payload == b"hello"


async def test_the_bus_publishes_to_the_embedded_broker_and_takes_leave(post: Post, open_bus: OpenBus) -> None:
    async with EmbeddedBroker(0) as broker, aiomqtt.Client("127.0.0.1", broker.port) as house:
        await house.subscribe("#")
        async with open_bus(options_for(broker.port, mqtt_5=False)) as bus:
            offer(bus, post.hear(b"QA1BCD-9>APRS:>x"))
            await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
            await bus.drain(5)
        seen = {}
        async for message in house.messages:
            seen[message.topic.value] = message.payload
            if message.payload == b"offline":
                break
    assert set(seen) == {f"{ROOT}/{name}" for name in ("status", "heard", "lines", "stations/QA1BCD-9")}


@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_an_independent_client_reads_what_the_embedded_broker_retains(post: Post, open_bus: OpenBus) -> None:
    async with EmbeddedBroker(0) as broker, open_bus(options_for(broker.port, mqtt_5=False)) as bus:
        there = BrokerAddress(broker.port)
        async with witness(there, f"{ROOT}/#") as watching:
            offer(bus, post.hear(b"QA1BCD-9>APRS:>x"))
            await watching.until_topic(f"{ROOT}/stations/QA1BCD-9")
        assert set(await retained(there, f"{ROOT}/#")) == {f"{ROOT}/status", f"{ROOT}/stations/QA1BCD-9"}


async def test_a_taken_port_is_an_error_that_says_so() -> None:
    async with EmbeddedBroker(0) as first:
        with pytest.raises(PortTakenError, match=f"port {first.port} is taken"):
            async with EmbeddedBroker(first.port):
                pass


async def test_a_missing_extra_is_an_error_that_tells_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "amqtt.broker", None)
    with pytest.raises(EmbeddedBrokerError, match=r"pip install 'stile\[broker\]'"):
        async with EmbeddedBroker(0):
            pass


async def test_it_logs_nothing_of_what_it_carries_and_leaves_the_loggers_as_they_were(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.DEBUG)
    before = logging.getLogger("amqtt").level
    async with EmbeddedBroker(0) as broker, aiomqtt.Client("127.0.0.1", broker.port) as client:
        await client.publish("greeting", b"private matter", qos=1)
    assert "private matter" not in caplog.text
    assert [record for record in caplog.records if record.name.startswith(("amqtt", "transitions"))] == []
    assert logging.getLogger("amqtt").level == before


async def test_it_ends_though_a_client_stays() -> None:
    async with EmbeddedBroker(0) as broker:
        reader, writer = await asyncio.open_connection("127.0.0.1", broker.port)
    async with asyncio.timeout(5):  # a fail-safe
        assert await reader.read() == b""
    writer.close()


async def test_a_subscriber_that_stopped_reading_is_let_go() -> None:
    connect = b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06silent"  # MQTT 3.1.1 section 3.1
    subscribe = b"\x82\x06\x00\x01\x00\x01#\x00"  # section 3.8
    async with EmbeddedBroker(0) as broker, aiomqtt.Client("127.0.0.1", broker.port) as talker:
        reader, writer = await asyncio.open_connection("127.0.0.1", broker.port, limit=1024)
        writer.write(connect + subscribe)
        assert (await reader.readexactly(4 + 5))[4] == 0x90  # CONNACK and SUBACK

        async def talk() -> None:
            for _ in range(400):  # far more than kernels hold, at 64 kB each
                await talker.publish("noise", bytes(64_000), qos=1)
                writer.write(b"\xc0\x00")  # PINGREQ: it is there, and reads nothing
                await writer.drain()

        with pytest.raises(ConnectionError):
            await talk()
        writer.close()
