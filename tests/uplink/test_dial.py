import asyncio
import contextlib
import socket
import threading
from collections.abc import AsyncIterator, Iterator

import pytest

from gateway.groundwork import hosts
from gateway.uplink.dial import DialError, dial

Answer = list[tuple[socket.AddressFamily, socket.SocketKind, int, str, tuple[str, int]]]


def answer(*ports: int) -> Answer:
    return [(socket.AF_INET, socket.SOCK_STREAM, 6, "", ("127.0.0.1", port)) for port in ports]


@pytest.fixture
async def listening() -> AsyncIterator[int]:
    server = await asyncio.start_server(lambda _, writer: writer.close(), "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]


@pytest.fixture
def refusing() -> Iterator[int]:
    """A port that is taken, and refuses."""
    with socket.socket() as bound:
        bound.bind(("127.0.0.1", 0))
        yield bound.getsockname()[1]


@contextlib.asynccontextmanager
async def dialled(host: str, port: int, seconds: float = 5) -> AsyncIterator[socket.socket]:
    with await dial(host, port, seconds=seconds, send_buffer_octets=8_192, unacknowledged_ms=10_000) as sock:
        yield sock


async def test_a_server_is_reached(listening: int) -> None:
    async with dialled("127.0.0.1", listening) as sock:
        assert sock.getpeername() == ("127.0.0.1", listening)
        assert sock.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        assert sock.gettimeout() == 0


async def test_the_name_is_looked_up_anew_each_time(listening: int, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []

    def look_up(*question: object, **_: object) -> Answer:
        asked.append(question)
        return answer(listening)

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    for _ in range(2):
        async with dialled("server.example", 14580):
            pass
    assert asked == [("server.example", 14580)] * 2


async def test_each_address_of_a_name_is_tried(listening: int, refusing: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: answer(refusing, listening))
    async with dialled("server.example", 14580) as sock:
        assert sock.getpeername()[1] == listening


async def test_a_refusal_says_so(refusing: int) -> None:
    with pytest.raises(DialError, match="cannot connect: Connection refused"):
        async with dialled("127.0.0.1", refusing):
            pass


async def test_an_address_that_does_not_answer_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    async def known(*_: object) -> list[hosts.Endpoint]:
        return [(socket.AF_INET, ("127.0.0.1", 1))]

    async def never(*_: object) -> None:
        await asyncio.Event().wait()

    monkeypatch.setattr(hosts, "look_up", known)  # on a busy machine the real one alone takes longer
    monkeypatch.setattr(asyncio.get_running_loop(), "sock_connect", never)
    with pytest.raises(DialError, match=r"cannot connect: no answer within 0\.02 s"):
        async with dialled("127.0.0.1", 1, seconds=0.02):
            pass


async def test_an_unknown_name_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    def look_up(*_: object, **__: object) -> Answer:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    with pytest.raises(DialError, match="cannot find the host: Name or service not known"):
        async with dialled("nowhere.example", 14580):
            pass


@pytest.mark.parametrize("name", ["x" * 70 + ".example", "a..b", "\N{FULL BLOCK}" * 70])
async def test_what_is_no_name_says_so(name: str) -> None:
    with pytest.raises(DialError, match="cannot find the host"):
        async with dialled(name, 14580):
            pass


async def test_a_name_without_addresses_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: answer())
    with pytest.raises(DialError, match="no address"):
        async with dialled("empty.example", 14580):
            pass


async def test_a_resolver_that_hangs_is_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    released = threading.Event()

    def look_up(*_: object, **__: object) -> Answer:
        released.wait(5)
        return answer(1)

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    with pytest.raises(DialError, match=r"no answer within 0\.05 s"):
        async with dialled("slow.example", 14580, seconds=0.05):
            pass
    released.set()


def test_a_resolver_that_hangs_holds_up_no_stop(monkeypatch: pytest.MonkeyPatch) -> None:
    hanging, released, answered = threading.Event(), threading.Event(), threading.Event()

    def look_up(*_: object, **__: object) -> Answer:
        hanging.set()
        released.wait(5)
        answered.set()
        return answer(1)

    async def begin_and_stop() -> None:
        task = asyncio.create_task(
            dial("slow.example", 1, seconds=5, send_buffer_octets=8_192, unacknowledged_ms=10_000)
        )
        while not hanging.is_set():  # noqa: ASYNC110 - it is set from another thread
            await asyncio.sleep(0.001)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task

    monkeypatch.setattr(socket, "getaddrinfo", look_up)
    asyncio.run(begin_and_stop())
    assert not answered.is_set()
    released.set()
    assert answered.wait(5)
