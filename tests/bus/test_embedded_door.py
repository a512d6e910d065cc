"""The gateway's own door to its embedded broker: whoever crowds the port, it comes back at once, and alone."""

import asyncio
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from typing import cast
from unittest.mock import Mock

import aiomqtt
import pytest
from paho.mqtt.enums import MQTTProtocolVersion

from gateway.bus import embedded_streams
from gateway.bus.connection import OFFLINE, ONLINE, BrokerConnection
from gateway.bus.embedded import EmbeddedBroker
from gateway.bus.embedded_login import OWN_PASSWORD, OWN_USERNAME, own_door
from gateway.bus.options import BusPace
from gateway.bus.topics import Topics
from gateway.bus.trouble import BrokerError
from tests.bus.conftest import options_for


def gateway_at(broker: EmbeddedBroker, *, door: bool = True, seconds: float = 20.0) -> BrokerConnection:
    options = options_for(
        broker.port,
        username=OWN_USERNAME,
        password=OWN_PASSWORD,
        own_door=own_door(broker.port) if door else None,
        pace=BusPace(connect=seconds),
    )
    return BrokerConnection(options, Topics(options.base, options.callsign), MQTTProtocolVersion.MQTTv311)


@asynccontextmanager
async def crowd(broker: EmbeddedBroker) -> AsyncIterator[None]:
    """Connections without end, none of which logs in and all of which come again."""

    async def come_again() -> None:
        while True:
            reader, writer = await asyncio.open_connection("127.0.0.1", broker.port)
            try:
                with suppress(ConnectionError):
                    await reader.read()
            finally:
                writer.transport.abort()

    tasks = [asyncio.create_task(come_again()) for _ in range(20)]
    try:
        yield
    finally:
        for task in tasks:
            task.cancel()
        await asyncio.wait(tasks)


async def test_the_gateway_comes_back_at_once_whoever_crowds_the_port(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(embedded_streams, "MOST_CLIENTS", 3)
    monkeypatch.setattr(embedded_streams, "LOGIN_SECONDS", 3600.0)
    monkeypatch.setattr(embedded_streams, "LOGINS_AT_ONCE", 1)
    async with EmbeddedBroker(0) as broker, crowd(broker):
        with pytest.raises(BrokerError):
            async with gateway_at(broker, door=False, seconds=0.2):
                pass
        for _ in range(3):
            async with gateway_at(broker) as gateway:
                await gateway.say(ONLINE)
                await gateway.say(OFFLINE)


@pytest.mark.parametrize("clean_session", [False, True])
async def test_whoever_comes_by_the_gateways_name_does_not_push_it_off(*, clean_session: bool) -> None:
    async with EmbeddedBroker(0) as broker, gateway_at(broker) as gateway:
        await gateway.say(ONLINE)
        node = options_for(broker.port).client_identifier
        async with aiomqtt.Client("127.0.0.1", broker.port, identifier=node, clean_session=clean_session):
            await gateway.say(OFFLINE)


async def test_a_connection_of_the_gateway_that_ends_takes_nothing_from_the_one_after_it() -> None:
    clients = embedded_streams.Clients()
    first, second = (cast("asyncio.StreamWriter", Mock()) for _ in range(2))
    clients.enter_own(first)
    clients.enter_own(second)
    clients.leave(first)
    assert clients.own_ports == clients.known_ports == {clients.port_of(second.transport)}


async def test_nobody_else_comes_in_there() -> None:
    come = (
        "import socket, sys; stranger = socket.socket(socket.AF_UNIX); stranger.settimeout(9);"
        "stranger.connect(chr(0) + sys.argv[1]); print(stranger.recv(1))"
    )
    async with EmbeddedBroker(0) as broker:
        door = own_door(broker.port)
        assert door is not None
        stranger = await asyncio.create_subprocess_exec(
            sys.executable, "-c", come, door[1:], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        )
        said, _ = await stranger.communicate()
    assert said == b"b''\n"
