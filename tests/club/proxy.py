"""A way between two sockets that can be cut: nothing goes through then, and nobody is told."""

import asyncio
import contextlib
from collections.abc import Callable
from typing import Self

PIECE = 64 * 1024


class Proxy:
    """Listens on a port and passes on to another, both ways, until it is cut; `async with` opens and closes it."""

    def __init__(self, target: int, *, port: int = 0, on_lost: Callable[[bytes], None] | None = None) -> None:
        """`on_lost` is told of what was on its way to the target and never came there."""
        self.target = target
        self.port = port
        self._on_lost = on_lost
        self._open = asyncio.Event()
        self._open.set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._writers: set[asyncio.StreamWriter] = set()
        self._server: asyncio.Server | None = None
        self._resets = 0

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._take, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        if self._server is not None:
            self._server.close()
        for task in list(self._tasks):
            task.cancel()
        self._abort()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def cut(self) -> None:
        """Let nothing through from now on."""
        self._open.clear()

    def mend(self, *, losing: bool) -> None:
        """Let everything through again. `losing`: what was held up is lost, with its connections."""
        if losing:
            self._resets += 1
            self._abort()
        self._open.set()

    def _abort(self) -> None:
        for writer in list(self._writers):
            writer.transport.abort()

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        both = {writer}
        try:
            await self._open.wait()
            there, back = await asyncio.open_connection("127.0.0.1", self.target)
            both.add(back)
            self._writers |= both
            await asyncio.gather(self._pass(reader, back, self._on_lost), self._pass(there, writer, None))
        except (OSError, asyncio.CancelledError):
            pass  # the other end is away, or the test is over
        finally:
            for one in both:
                one.transport.abort()
            self._writers -= both
            self._tasks.discard(task)

    async def _pass(
        self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter, on_lost: Callable[[bytes], None] | None
    ) -> None:
        octets = b""
        resets = self._resets
        with contextlib.suppress(OSError):
            while octets := await reader.read(PIECE):
                await self._open.wait()
                if self._resets != resets:
                    break
                writer.write(octets)
                await writer.drain()
        if octets and on_lost is not None:
            on_lost(octets)
        writer.transport.abort()
