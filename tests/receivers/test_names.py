"""Names of hosts and their addresses."""

import asyncio
import socket
import threading

import pytest

from gateway.receivers.address import HostPort
from gateway.receivers.names import MAXIMUM_ADDRESSES, look_up


async def test_an_address_is_its_own_answer() -> None:
    assert await look_up(HostPort("127.0.0.1", 7581), socket.SOCK_STREAM) == [(socket.AF_INET, ("127.0.0.1", 7581))]


async def test_an_ipv6_address_is_one_too() -> None:
    ((family, address),) = await look_up(HostPort("::1", 7581), socket.SOCK_DGRAM)
    assert family is socket.AF_INET6
    assert address[:2] == ("::1", 7581)


async def test_a_name_with_very_many_addresses_is_cut_short(monkeypatch: pytest.MonkeyPatch) -> None:
    many = [(socket.AF_INET, socket.SOCK_STREAM, 0, "", (f"192.0.2.{number}", 7581)) for number in range(100)]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: many)
    assert len(await look_up(HostPort("decoder.example", 7581), socket.SOCK_STREAM)) == MAXIMUM_ADDRESSES


async def test_a_name_without_any_address_is_of_no_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: [])
    with pytest.raises(OSError, match="the host has no address"):
        await look_up(HostPort("decoder.example", 7581), socket.SOCK_STREAM)


@pytest.mark.parametrize("error", [socket.gaierror(socket.EAI_NONAME, "unknown"), UnicodeError("label too long")])
async def test_what_the_system_says_is_raised(error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> object:
        raise error

    monkeypatch.setattr(socket, "getaddrinfo", fail)
    with pytest.raises(type(error)):
        await look_up(HostPort("decoder.example", 7581), socket.SOCK_STREAM)


async def test_a_resolver_that_hangs_holds_up_no_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    asked, answer = threading.Event(), threading.Event()

    def hang(*_: object, **__: object) -> list[object]:
        asked.set()
        answer.wait(10)
        return []

    monkeypatch.setattr(socket, "getaddrinfo", hang)
    before = set(threading.enumerate())
    asking = asyncio.create_task(look_up(HostPort("decoder.example", 7581), socket.SOCK_STREAM))
    await asyncio.to_thread(asked.wait, 10)
    (hanging,) = (thread for thread in set(threading.enumerate()) - before if thread.name == "name look-up")
    asking.cancel()
    await asyncio.wait([asking])
    assert asking.cancelled()
    assert hanging.is_alive()
    assert hanging.daemon  # nothing waits for it at the end
    answer.set()
    await asyncio.to_thread(hanging.join, 10)
    assert not hanging.is_alive()
