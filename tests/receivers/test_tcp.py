"""TCP connections to a decoder."""

import asyncio
import socket
from typing import Any

import pytest

from gateway.frames.heard import Run
from gateway.receivers import tcp
from gateway.receivers.address import HostPort, parse
from gateway.receivers.kinds import open_receiver
from tests.receivers.listening import Clock, Ear, ScriptedDecoder, at_once, listening, sends, stays
from tests.waiting import until


@pytest.fixture
def connected_sockets(monkeypatch: pytest.MonkeyPatch) -> list[socket.socket]:
    """The sockets that connections were made of."""
    sockets: list[socket.socket] = []
    keep_alive = tcp._keep_alive  # noqa: SLF001 - what is set on a socket shows nowhere else

    def watched(connected: socket.socket) -> None:
        keep_alive(connected)
        sockets.append(connected)

    monkeypatch.setattr(tcp, "_keep_alive", watched)
    return sockets


async def test_a_host_that_vanished_is_noticed_by_keep_alive(connected_sockets: list[socket.socket]) -> None:
    async with ScriptedDecoder(sends(then=stays)) as decoder, tcp.connection(HostPort("127.0.0.1", decoder.port)):
        (connected,) = connected_sockets
        assert connected.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)
        assert connected.getsockopt(socket.IPPROTO_TCP, socket.TCP_KEEPIDLE) <= 60


async def test_the_name_of_the_host_is_resolved_anew_for_each_connection(monkeypatch: pytest.MonkeyPatch) -> None:
    resolved: list[str] = []
    resolve = socket.getaddrinfo

    def watched(host: str, *arguments: Any, **named: Any) -> object:  # noqa: ANN401 - passed on as they came
        resolved.append(host)
        return resolve("127.0.0.1", *arguments, **named)

    monkeypatch.setattr(socket, "getaddrinfo", watched)
    async with ScriptedDecoder(sends()) as decoder:
        address = parse(f"kiss+tcp://decoder.example:{decoder.port}")
        async with listening(open_receiver("vhf", address, Run("test"), Ear(), patience=at_once())):
            await until(lambda: decoder.connections >= 3)
    assert resolved[:3] == ["decoder.example"] * 3


async def test_a_name_that_cannot_be_resolved_is_said_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    def nowhere(*_: object, **__: object) -> object:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", nowhere)
    clock = Clock()
    address = parse("kiss+tcp://decoder.example:7581")
    receiver = open_receiver("vhf", address, Run("test"), Ear(), patience=at_once(clock))
    async with listening(receiver):
        await until(lambda: len(clock.slept) >= 3)
        assert receiver.reason == "the name of the host cannot be resolved"


async def test_an_address_that_is_dead_leaves_the_next_one_its_turn(monkeypatch: pytest.MonkeyPatch) -> None:
    async with ScriptedDecoder(sends(then=stays)) as decoder:
        with socket.create_server(("127.0.0.1", 0)) as server:
            refusing = server.getsockname()
        both = [
            (socket.AF_INET, socket.SOCK_STREAM, 0, "", refusing),
            (socket.AF_INET, socket.SOCK_STREAM, 0, "", ("127.0.0.1", decoder.port)),
        ]
        monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: both)
        async with tcp.connection(HostPort("decoder.example", 7581)):
            await until(lambda: decoder.connections == 1)


async def test_an_address_that_never_answers_is_given_up_in_time_for_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    silent = ("192.0.2.1", 7581)  # RFC 5737: an address for documentation
    connect = asyncio.get_running_loop().sock_connect

    async def silence(connecting: socket.socket, address: tuple[str, int]) -> None:
        await (asyncio.Event().wait() if address == silent else connect(connecting, address))

    monkeypatch.setattr(asyncio.get_running_loop(), "sock_connect", silence)
    monkeypatch.setattr(tcp, "_SECONDS_AN_ADDRESS", 0.2)
    async with ScriptedDecoder(sends(then=stays)) as decoder:
        both = [
            (socket.AF_INET, socket.SOCK_STREAM, 0, "", silent),
            (socket.AF_INET, socket.SOCK_STREAM, 0, "", ("127.0.0.1", decoder.port)),
        ]
        monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: both)
        async with tcp.connection(HostPort("decoder.example", 7581)):
            await until(lambda: decoder.connections == 1)


async def test_leaving_closes_the_connection() -> None:
    left = asyncio.Event()

    async def script(reader: asyncio.StreamReader, _: asyncio.StreamWriter) -> None:
        await reader.read()
        left.set()

    async with ScriptedDecoder(script) as decoder:
        async with tcp.connection(HostPort("127.0.0.1", decoder.port)):
            assert not left.is_set()
        await asyncio.wait_for(left.wait(), 5)
