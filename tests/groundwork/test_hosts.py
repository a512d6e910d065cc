"""Names of hosts and their addresses."""

import socket

import pytest

from gateway.groundwork.hosts import MAXIMUM_ADDRESSES, Endpoint, connect, look_up


async def test_an_address_is_its_own_answer() -> None:
    assert await look_up("127.0.0.1", 7581) == [(socket.AF_INET, ("127.0.0.1", 7581))]


async def test_an_ipv6_address_is_one_too() -> None:
    ((family, address),) = await look_up("::1", 7581, socket.SOCK_DGRAM)
    assert family is socket.AF_INET6
    assert address[:2] == ("::1", 7581)


async def test_a_name_with_very_many_addresses_is_cut_short(monkeypatch: pytest.MonkeyPatch) -> None:
    many = [(socket.AF_INET, socket.SOCK_STREAM, 0, "", (f"192.0.2.{number}", 7581)) for number in range(100)]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: many)
    assert len(await look_up("decoder.example", 7581, socket.SOCK_STREAM)) == MAXIMUM_ADDRESSES


async def test_a_name_without_any_address_is_of_no_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: [])
    with pytest.raises(OSError, match="the host has no address"):
        await look_up("decoder.example", 7581, socket.SOCK_STREAM)


@pytest.mark.parametrize("error", [socket.gaierror(socket.EAI_NONAME, "unknown"), UnicodeError("label too long")])
async def test_what_the_system_says_is_raised(error: Exception, monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(*_: object, **__: object) -> object:
        raise error

    monkeypatch.setattr(socket, "getaddrinfo", fail)
    with pytest.raises(type(error)):
        await look_up("decoder.example", 7581, socket.SOCK_STREAM)


async def test_a_socket_that_is_prepared_is_connected_to_the_first_that_answers() -> None:
    prepared: list[socket.socket] = []
    with socket.create_server(("127.0.0.1", 0)) as dead:
        refusing = dead.getsockname()
    with socket.create_server(("127.0.0.1", 0)) as server:
        endpoints: list[Endpoint] = [(socket.AF_INET, refusing), (socket.AF_INET, server.getsockname())]
        with await connect(endpoints, seconds=5, prepare=prepared.append) as connected:
            assert connected.getpeername() == server.getsockname()
            assert connected.gettimeout() == 0
        assert prepared[-1] is connected
        assert [one.fileno() for one in prepared] == [-1, -1], "the one that was refused is closed, too"


async def test_where_none_answers_the_last_ones_reason_is_raised() -> None:
    with socket.create_server(("127.0.0.1", 0)) as dead:
        refusing = dead.getsockname()
    with pytest.raises(ConnectionRefusedError):
        await connect([(socket.AF_INET, refusing)] * 2, seconds=5, prepare=lambda _: None)
