"""What the tests of receivers stand on: a run whose clock is passed in, an ear for what is delivered, a decoder."""

import asyncio
import socket
import struct
from collections.abc import AsyncIterator, Awaitable, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import replace
from types import TracebackType
from typing import Self

from gateway.frames import ax25, kiss
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import Header
from gateway.frames.heard import Heard, Run
from gateway.receivers.receiver import Receiver
from gateway.receivers.reconnect import Patience
from tests.waiting import until

PATIENCE_OF_A_TEST = 10.0
"""Seconds after which a test that waits in vain fails; no test waits so long by design."""


class Clock:
    """A clock that stands until it is told to go on."""

    def __init__(self) -> None:
        self.seconds = 0.0
        self.slept: list[float] = []

    def now(self) -> float:
        return self.seconds

    async def sleep(self, seconds: float) -> None:
        self.slept.append(seconds)
        self.seconds += seconds
        await asyncio.sleep(0)

    def run(self) -> Run:
        return Run("test", monotonic=self.now, wall=lambda: 1_780_747_200 + self.seconds)


class Ear:
    """Keeps what is delivered, delivery by delivery."""

    def __init__(self) -> None:
        self.deliveries: list[list[Heard]] = []

    def __call__(self, heard: Sequence[Heard]) -> None:
        self.deliveries.append(list(heard))

    @property
    def heard(self) -> list[Heard]:
        return [each for delivery in self.deliveries for each in delivery]

    @property
    def frames(self) -> list[Frame | Damaged]:
        return [each.frame for each in self.heard]

    async def has_heard(self, count: int) -> None:
        await until(lambda: len(self.heard) >= count)


@asynccontextmanager
async def listening(receiver: Receiver) -> AsyncIterator[asyncio.Task[None]]:
    """Run `receiver`; cancel it at the end."""
    task = asyncio.create_task(receiver.listen())
    try:
        yield task
    finally:
        task.cancel()
        await asyncio.wait([task])
        assert task.cancelled() or task.exception() is None


def at_once(clock: Clock | None = None) -> Patience:
    """Patience that does not really wait, and shortens no delay at random."""
    return Patience(replace(Patience().pauses, spread=0), sleep=(clock or Clock()).sleep)


def frame(text: str, source: str = "QA1BCD-9") -> Frame:
    return Frame(Header(source, "APRS"), text.encode())


def in_kiss(*texts: str, port: int = 0) -> bytes:
    return b"".join(kiss.encode(ax25.write(frame(text)), port) for text in texts)


Script = Callable[[asyncio.StreamReader, asyncio.StreamWriter], Awaitable[None]]
Ending = Callable[[asyncio.StreamWriter], None]


def sends(*pieces: bytes, then: Ending | None = None) -> Script:
    """Send each piece on its own; then close, or do what `then` says and wait for the receiver to leave."""

    async def script(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for piece in pieces:
            writer.write(piece)
            await writer.drain()
            await asyncio.sleep(0)
        if then is not None:
            then(writer)
            await reader.read()

    return script


def stays(_: asyncio.StreamWriter) -> None:
    """Keep the connection open."""


def half_closes(writer: asyncio.StreamWriter) -> None:
    writer.write_eof()


def resets(writer: asyncio.StreamWriter) -> None:
    linger_no_time = struct.pack("ii", 1, 0)
    writer.get_extra_info("socket").setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, linger_no_time)
    writer.transport.abort()


class ScriptedDecoder:
    """A decoder on a TCP or Unix socket: each connection plays the next script, the last one again and again."""

    def __init__(self, *scripts: Script, path: str | None = None) -> None:
        self._scripts = scripts
        self._path = path
        self._open: set[asyncio.StreamWriter] = set()
        self.connections = 0
        self.port = 0

    async def __aenter__(self) -> Self:
        if self._path is None:
            self._server: asyncio.Server = await asyncio.start_server(self._serve, "127.0.0.1", 0)
            self.port = self._server.sockets[0].getsockname()[1]
        else:
            self._server = await asyncio.start_unix_server(self._serve, self._path)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._server.close()
        for writer in self._open:
            writer.close()  # from 3.12 on the server waits for its connections to end
        await self._server.wait_closed()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        script = self._scripts[min(self.connections, len(self._scripts) - 1)]
        self.connections += 1
        self._open.add(writer)
        try:
            await script(reader, writer)
        except ConnectionError:
            pass  # the receiver left first
        finally:
            self._open.discard(writer)
            writer.transport.abort() if writer.transport.is_closing() else writer.close()
