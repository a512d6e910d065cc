"""Strangers at the embedded broker: what is the gateway's they may not write, and they cost a bounded amount at most.

Packets by hand are those of MQTT 3.1.1, section 3.
"""

import asyncio
import gc
import itertools
import logging
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from types import SimpleNamespace
from typing import cast

import aiomqtt
import pytest
from amqtt.broker import Broker  # type: ignore[import-untyped] # it comes without types

from gateway.bus import embedded_rights, embedded_streams
from gateway.bus.embedded import EmbeddedBroker
from gateway.bus.embedded_login import OWN_PASSWORD, OWN_USERNAME

KEPT = "stile/QX1GAT-10/"
STATUS = f"{KEPT}status"


@asynccontextmanager
async def at(
    broker: EmbeddedBroker, *, own: bool = False, will: aiomqtt.Will | None = None
) -> AsyncIterator[aiomqtt.Client]:
    password = OWN_PASSWORD if own else "guessed"
    async with aiomqtt.Client("127.0.0.1", broker.port, username=OWN_USERNAME, password=password, will=will) as client:
        yield client


async def test_only_the_gateway_writes_to_its_topics_and_everybody_may_read_them() -> None:
    async with EmbeddedBroker(0, [KEPT]) as broker, at(broker, own=True) as gateway, at(broker) as stranger:
        await stranger.subscribe("#", qos=1)
        await stranger.publish(STATUS, b"forged", qos=1, retain=True)
        await stranger.publish("kitchen/light", b"on", qos=1)
        await gateway.publish(STATUS, b"online", qos=1, retain=True)
        messages = aiter(stranger.messages)
        said = [(message.topic.value, message.payload) for message in [await anext(messages), await anext(messages)]]
    assert said == [("kitchen/light", b"on"), (STATUS, b"online")]


async def test_a_stranger_who_would_leave_a_will_there_is_not_let_in() -> None:
    async with EmbeddedBroker(0, [KEPT]) as broker:
        with pytest.raises(aiomqtt.MqttError, match=r"[Nn]ot authori[sz]ed"):
            async with at(broker, will=aiomqtt.Will(STATUS, b"offline", 1, retain=True)):
                pass
        async with at(broker, own=True, will=aiomqtt.Will(STATUS, b"offline", 1, retain=True)):
            pass


async def test_what_strangers_let_it_retain_is_bounded(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(embedded_rights, "MOST_RETAINED", 5)
    async with EmbeddedBroker(0, [KEPT]) as broker, at(broker) as stranger, at(broker) as reader:
        for number in range(20):
            await stranger.publish(f"noise/{number}", b"x", qos=1, retain=True)
        await stranger.publish("noise/0", b"", qos=1, retain=True)  # one place is free again
        await stranger.publish("last", b"x", qos=1, retain=True)
        await reader.subscribe("#")
        seen = []
        async for message in reader.messages:
            seen.append(message.topic.value)
            if seen[-1] == "last":
                break
    assert len(seen) <= 6  # what is retained is counted a moment after it is


async def test_a_packet_that_is_too_long_ends_its_connection_before_it_is_in_memory() -> None:
    async with EmbeddedBroker(0, [KEPT]) as broker:
        reader, writer = await connected(broker, b"long")
        writer.write(b"\x30\xff\xff\xff\x7f\x00\x05noise")  # PUBLISH of 256 MB
        async with asyncio.timeout(20):  # a fail-safe
            assert await reader.read() == b""
        writer.close()


async def test_more_silent_clients_than_there_are_places_shut_nobody_out_and_who_has_logged_in_stays(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(embedded_streams, "MOST_CLIENTS", 5)
    async with EmbeddedBroker(0, [KEPT]) as broker, at(broker) as screen, at(broker, own=True) as gateway:
        await screen.subscribe("#")
        writers = [(await asyncio.open_connection("127.0.0.1", broker.port))[1] for _ in range(20)]
        async with at(broker) as newcomer:
            await newcomer.subscribe("#")
            await gateway.publish(STATUS, b"online", qos=1)
            for reader in (screen, newcomer):
                assert (await anext(aiter(reader.messages))).payload == b"online"
        for writer in writers:
            writer.close()


async def test_the_gateway_stays_among_more_clients_that_log_in_than_there_are_places(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(embedded_streams, "MOST_CLIENTS", 3)
    async with EmbeddedBroker(0, [KEPT]) as broker, at(broker, own=True) as gateway:
        crowd = [await connected(broker, b"no%02d" % number) for number in range(6)]
        async with at(broker) as newcomer:
            await newcomer.subscribe("#")
            await gateway.publish(STATUS, b"online", qos=1)
            assert (await anext(aiter(newcomer.messages))).payload == b"online"
        for _, writer in crowd:
            writer.transport.abort()


async def test_a_crowd_logs_in_one_after_the_other_and_who_has_left_takes_no_turn(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(embedded_streams, "LOGIN_SECONDS", 3600.0)
    monkeypatch.setattr(embedded_streams, "LOGINS_AT_ONCE", 2)
    clients = embedded_streams.Clients()
    stays, has_left = (writer_that(is_closing=answer) for answer in (False, True))
    writers = [has_left, stays, has_left, stays, has_left]
    let_in = [asyncio.ensure_future(clients.until_let_in(writer)) for writer in (*writers, stays)]
    for _ in range(20):
        await asyncio.sleep(0)
    assert [task.result() for task in let_in if task.done()] == [False, True, False, True, False]
    let_in[-1].cancel()


def writer_that(*, is_closing: bool) -> asyncio.StreamWriter:
    transport = SimpleNamespace(is_closing=lambda: is_closing)
    return cast("asyncio.StreamWriter", SimpleNamespace(transport=transport))


async def test_a_client_may_not_subscribe_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(embedded_rights, "MOST_SUBSCRIPTIONS", 3)
    async with EmbeddedBroker(0) as broker, at(broker) as stranger:
        granted = [(await stranger.subscribe(f"noise/{number}"))[0] for number in range(5)]
    assert [str(code) for code in granted].count("Unspecified error") == 2


async def test_slow_readers_together_hold_no_more_than_is_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(embedded_streams, "MAXIMUM_UNREAD_IN_ALL", 2_000_000)
    async with EmbeddedBroker(0) as broker, at(broker) as talker:
        slow = [await connected(broker, b"slow%02d" % number, subscribes=True) for number in range(5)]
        for _ in range(200):  # 64 kB each for each: far more than kernels hold
            await talker.publish("noise", bytes(64_000), qos=1)
        clients = broker._clients  # noqa: SLF001 - what it holds shows nowhere else
        assert clients is not None
        waiting = [transport.get_write_buffer_size() for transport in clients._transports]  # noqa: SLF001 - as above
        assert sum(waiting) <= 2_000_000 + 64_100
        assert len(waiting) < 6
        for _, writer in slow:
            writer.close()


async def test_a_flood_is_read_no_faster_than_it_is_handed_on_and_the_gateway_is_heard(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(embedded_streams, "MOST_UNDER_WAY", 5)
    packet, last = b"\x30\x87\x08\x00\x05noise" + bytes(1024), b"\x30\x05\x00\x03end"  # PUBLISH
    async with EmbeddedBroker(0, [KEPT]) as broker, at(broker, own=True) as gateway, at(broker) as reader:
        await reader.subscribe([(f"{KEPT}#", 0), ("end", 0)])
        clients, most = broker._clients, 0  # noqa: SLF001 - as above
        assert clients is not None
        floods = [await connected(broker, b"fl%02d" % number, subscribes=True) for number in range(4)]
        for _, writer in floods:
            writer.write(packet * 300 + last)
        await gateway.publish(STATUS, b"online", qos=0)
        seen = asyncio.ensure_future(topics_of(reader, 5))
        while not seen.done():
            most = max(most, clients.under_way())
            await asyncio.sleep(0)
        for _, writer in floods:
            writer.transport.abort()
    assert sorted(seen.result()) == ["end"] * 4 + [STATUS]
    assert most < 100  # each of the four may begin one more, for five subscribers


async def test_a_message_reaches_every_subscriber_though_others_come_and_go_meanwhile() -> None:
    """What the broker does for a flood of connections, in small: who comes while a message is handed on."""
    faults: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))
    topic = "n/o/i/s/e"
    filters = {"/".join(each) for each in itertools.product(*((level, "+") for level in topic.split("/")))}
    publish = b"\x30\x0c\x00\x09" + topic.encode() + b"x"
    others = b"".join(b"\x82\x06\x00\x01\x00\x01%c\x00" % number for number in b"abcdefghijklmnopqrst")
    async with EmbeddedBroker(0) as broker, at(broker) as house:
        await house.subscribe([(each, 0) for each in sorted(filters)])
        _, stranger = await connected(broker, b"come")
        stranger.write(publish + others)
        async with asyncio.timeout(20):  # a fail-safe
            assert await topics_of(house, len(filters)) == [topic] * len(filters)  # one for each filter
        stranger.transport.abort()
    gc.collect()
    await asyncio.sleep(0)
    assert faults == []


async def topics_of(client: aiomqtt.Client, count: int) -> list[str]:
    messages = aiter(client.messages)
    return [(await anext(messages)).topic.value for _ in range(count)]


HOSTILE = [
    b"",
    b"\x00" * 50,
    b"GET / HTTP/1.1\r\n\r\n",
    b"\x10\xff\xff\xff\xff\xff",  # a length without end
    b"\x10\x0c\x00\x04MQTT\x09\x02\x00\x00\x00\x00",  # of a protocol level that there is not
    b"\x10\x10\x00\x04MQTT\x04\x02\x00\x00\x00\x04\xff\xfe\xfd\xfc",  # a name that is no text
    b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06silent\x82\x03\x00\x01\x00",  # a subscription that is cut off
    b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06silent\x30\x02\x00\x05",  # a message that is cut off
    b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06silent\xf0\x00\x10\x00\x40\x02\x00\x09\x62\x02\x00\x07",
    b"\x10\x12\x00\x04MQTT\x04\x02\x00\x00\x00\x06silent" * 3,
]


async def test_nothing_that_a_hostile_client_sends_leaves_a_word_in_the_log_or_ends_the_broker(
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level(logging.DEBUG)
    faults: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))
    async with EmbeddedBroker(0, [KEPT]) as broker:
        for octets in HOSTILE:
            answers, writer = await asyncio.open_connection("127.0.0.1", broker.port)
            writer.write(octets)
            writer.write_eof()
            async with asyncio.timeout(20):  # a fail-safe
                await answers.read()  # until the broker has let it go
            writer.transport.abort()
        async with at(broker, own=True) as gateway, at(broker) as reader:
            await reader.subscribe("#")
            await gateway.publish(STATUS, b"online", qos=1)
            assert (await anext(aiter(reader.messages))).payload == b"online"
    gc.collect()
    await asyncio.sleep(0)
    assert faults == []
    said = [record.getMessage() for record in caplog.records if not record.name.startswith(("asyncio", "bus", "mqtt"))]
    assert said == []


async def test_whatever_the_library_trips_over_costs_one_connection_and_no_word(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A login that was refused and has left already makes it close a socket that is closed, and that gets out."""
    faults: list[dict[str, object]] = []
    asyncio.get_running_loop().set_exception_handler(lambda _, context: faults.append(context))

    async def harm(*_: object) -> None:
        raise OSError

    monkeypatch.setattr(Broker, "external_connected", harm)
    async with EmbeddedBroker(0) as broker:
        reader, writer = await asyncio.open_connection("127.0.0.1", broker.port)
        async with asyncio.timeout(20):  # a fail-safe
            assert await reader.read() == b""
        writer.close()
    assert faults == []


async def connected(
    broker: EmbeddedBroker, name: bytes, *, subscribes: bool = False
) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
    """A client made by hand, whose name has six letters or four."""
    reader, writer = await asyncio.open_connection("127.0.0.1", broker.port, limit=1024)
    writer.write(b"\x10%c\x00\x04MQTT\x04\x02\x00\x00\x00%c%b" % (12 + len(name), len(name), name))
    assert await reader.readexactly(4) == b"\x20\x02\x00\x00"  # CONNACK
    if subscribes:
        writer.write(b"\x82\x06\x00\x01\x00\x01#\x00")
        assert (await reader.readexactly(5))[0] == 0x90  # SUBACK
    return reader, writer
