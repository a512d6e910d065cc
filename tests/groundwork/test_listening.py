import asyncio
import socket
import ssl

import pytest
from structlog.testing import capture_logs

from gateway.groundwork.certificates import CertificateError
from gateway.groundwork.listening import Listener
from gateway.groundwork.part import PartKind

PATIENCE_SECONDS = 10


async def test_a_place_that_is_taken_is_said_once_and_had_as_soon_as_it_is_free() -> None:
    taken = socket.create_server(("127.0.0.1", 0))
    port = taken.getsockname()[1]
    listener = Listener("the door", "127.0.0.1", port, lambda: 0, retry_seconds=0.001)

    async def free_it() -> None:
        while listener.part(PartKind.WEB).why != "Address already in use":  # noqa: ASYNC110 - a listener has no event for it
            await asyncio.sleep(0.001)
        await asyncio.sleep(0.02)
        taken.close()

    freeing = asyncio.create_task(free_it())
    with capture_logs() as logs:
        async with (
            asyncio.timeout(PATIENCE_SECONDS),
            listener.listening(asyncio.Protocol, asyncio.Event(), prepare=lambda _: None) as listens,
        ):
            assert listens
            assert (listener.port, listener.part(PartKind.WEB).why) == (port, "")
            _, writer = await asyncio.open_connection("127.0.0.1", port)
            writer.close()
    await freeing
    assert (listener.port, listener.part(PartKind.WEB).why) == (None, "the gateway stops")
    assert [entry["event"] for entry in logs] == ["the door does not listen", "the door listens"]


async def test_when_it_is_time_to_leave_no_place_is_waited_for() -> None:
    leaving = asyncio.Event()
    with socket.create_server(("127.0.0.1", 0)) as taken:
        listener = Listener("the door", "127.0.0.1", taken.getsockname()[1], lambda: 0, retry_seconds=PATIENCE_SECONDS)
        asyncio.get_running_loop().call_later(0.01, leaving.set)
        async with (
            asyncio.timeout(PATIENCE_SECONDS / 2),
            listener.listening(asyncio.Protocol, leaving, prepare=lambda _: None) as listens,
        ):
            assert not listens


async def test_listening_sockets_are_prepared_before_anyone_is_let_in() -> None:
    listener, prepared = Listener("the door", "127.0.0.1", 0, lambda: 0), list[int]()

    def prepare(listening: socket.socket) -> None:
        with socket.socket() as early:
            early.settimeout(0.1)
            assert early.connect_ex(listening.getsockname()) != 0
        prepared.append(listening.getsockname()[1])

    async with listener.listening(asyncio.Protocol, asyncio.Event(), prepare=prepare):
        assert prepared == [listener.port]


@pytest.mark.parametrize("host", ["192.0.2.1", "x" * 70 + ".example"])  # RFC 5737; RFC 1035 section 2.3.4
async def test_a_place_that_is_not_ours_is_said_to_be_none(host: str) -> None:
    leaving = asyncio.Event()
    listener = Listener("the door", host, 0, lambda: 0, retry_seconds=PATIENCE_SECONDS)
    opening = asyncio.create_task(listener.listening(asyncio.Protocol, leaving, prepare=lambda _: None).__aenter__())
    async with asyncio.timeout(PATIENCE_SECONDS / 2):
        while listener.part(PartKind.WEB).why == "it was not started yet":  # noqa: ASYNC110 - a listener has no event for it
            await asyncio.sleep(0.001)
    assert listener.part(PartKind.WEB).why in {"Cannot assign requested address", "this is no address of this computer"}
    opening.cancel()
    await asyncio.wait([opening])


async def test_tls_that_cannot_be_had_keeps_it_from_listening_and_says_why() -> None:
    def no_certificate() -> ssl.SSLContext:
        raise CertificateError("own.pem: not what TLS can use")

    leaving = asyncio.Event()
    listener = Listener("the door", "127.0.0.1", 0, lambda: 0, retry_seconds=0.001)

    async def leave() -> None:
        while listener.part(PartKind.WEB).why != "own.pem: not what TLS can use":  # noqa: ASYNC110 - as above
            await asyncio.sleep(0.001)
        leaving.set()

    watching = asyncio.create_task(leave())
    async with (
        asyncio.timeout(PATIENCE_SECONDS),
        listener.listening(asyncio.Protocol, leaving, prepare=lambda _: None, secure=no_certificate) as listens,
    ):
        assert not listens
    await watching
