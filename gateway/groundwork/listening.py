"""A place where others may connect, kept open: one that is taken is tried again and again."""

import asyncio
import contextlib
import os
import socket
import ssl
from collections.abc import AsyncIterator, Callable

import structlog

from gateway.groundwork.certificates import CertificateError
from gateway.groundwork.hosts import look_up
from gateway.groundwork.part import Part, PartKind, State
from gateway.groundwork.waiting import happens_within

_NOT_STARTED = "it was not started yet"
_REMEDY = "see what else listens there, or listen at another port"

_log = structlog.get_logger()


class Listener:
    """Listens at one place, once it can be had."""

    def __init__(
        self, name: str, host: str, port: int, time_ms: Callable[[], int], *, retry_seconds: float = 10.0
    ) -> None:
        """`name` is what the log calls it; `port` 0 takes a free one; `time_ms` is the clock, in Unix milliseconds."""
        self.port: int | None = None
        """The port that it listens on; None where it does not."""

        self._trouble = _NOT_STARTED
        """Why it does not listen; empty where it does."""

        self._since_ms = time_ms()
        self._time_ms = time_ms
        self._name = name
        self._host = host
        self._asked_port = port
        self._retry_seconds = retry_seconds

    def part(self, kind: PartKind) -> Part:
        """How it is now, as a part of this kind: `waiting` until it listens, or cannot."""
        if self._trouble in {"", _NOT_STARTED}:
            return Part(kind, kind, State.WAITING if self._trouble else State.OK, self._since_ms, self._trouble)
        return Part(kind, kind, State.DOWN, self._since_ms, self._trouble, _REMEDY)

    def _become(self, port: int | None, trouble: str) -> None:
        if trouble != self._trouble:
            self._since_ms = self._time_ms()
        self.port, self._trouble = port, trouble

    @contextlib.asynccontextmanager
    async def listening(
        self,
        make_protocol: Callable[[], asyncio.BaseProtocol],
        leaving: asyncio.Event,
        *,
        prepare: Callable[[socket.socket], None],
        secure: Callable[[], ssl.SSLContext] | None = None,
    ) -> AsyncIterator[bool]:
        """Let connections in for as long as the context lasts. False: it was time for `leaving` before that could be.

        `prepare` sets options of the listening sockets, which connections take over from them. `secure` reads what TLS
        needs, where it is wanted; it may raise `OSError`, whose `strerror` says why that cannot be.
        """
        server = None
        try:
            while server is None and not leaving.is_set():
                server = await self._try(make_protocol, secure)
                if server is None:
                    await happens_within(leaving, self._retry_seconds)
            if server is not None:
                for listening in server.sockets:
                    prepare(listening)
                await server.start_serving()
                self._become(server.sockets[0].getsockname()[1], "")
                _log.info(f"{self._name} listens", host=self._host, port=self.port)
            yield server is not None
        finally:
            if server is not None:
                server.close()
            self._become(None, "the gateway stops")

    async def _try(
        self, make_protocol: Callable[[], asyncio.BaseProtocol], secure: Callable[[], ssl.SSLContext] | None
    ) -> asyncio.Server | None:
        try:
            context = None if secure is None else secure()
            addresses = [str(address[0]) for _, address in await look_up(self._host, self._asked_port)]
            loop = asyncio.get_running_loop()
            return await loop.create_server(
                make_protocol, addresses, self._asked_port, ssl=context, start_serving=False
            )
        except (OSError, UnicodeError) as error:
            why = _why(error)
            if why != self._trouble:
                _log.error(f"{self._name} does not listen", host=self._host, port=self._asked_port, why=why)
            self._become(None, why)
            return None


def _why(error: OSError | UnicodeError) -> str:
    """What the system says of it; asyncio puts the address into the text, which is said beside it."""
    if isinstance(error, CertificateError):
        return error.strerror
    if isinstance(error, UnicodeError | socket.gaierror) or not error.errno:
        return "this is no address of this computer"
    return os.strerror(error.errno)
