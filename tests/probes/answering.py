"""What the probes ask, for tests: sockets that say what a test wants, and then stay open until they are left."""

import asyncio
import contextlib
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.frames import ax25, kiss
from gateway.frames.frame import Frame
from gateway.frames.header import Header


def frame(text: str, source: str = "QA1BCD-9") -> Frame:
    return Frame(Header(source, "APRS"), text.encode())


def in_kiss(*frames: Frame) -> bytes:
    return b"".join(kiss.encode(ax25.write(each)) for each in frames)


@asynccontextmanager
async def saying(octets: bytes, *, leaves: bool = False) -> AsyncIterator[int]:
    """A server on loopback that says `octets` to whoever comes; `leaves`: and hangs up. Gives its port."""

    left: list[asyncio.Task[None] | None] = []

    async def answer(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        left.append(asyncio.current_task())
        with contextlib.suppress(OSError):
            writer.write(octets)
            await writer.drain()
            if not leaves:
                await reader.read()
        writer.transport.abort()
        with contextlib.suppress(OSError):
            await writer.wait_closed()

    server = await asyncio.start_server(answer, "127.0.0.1", 0)
    async with server:
        yield server.sockets[0].getsockname()[1]
    await asyncio.gather(*filter(None, left))
