"""A whole gateway for tests: the service as `stile run` makes it, between sockets that the test holds."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Self

from gateway import settings
from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import Sink
from gateway.frames import ax25, kiss, tnc2
from gateway.frames.frame import Frame
from gateway.groundwork.part import Part, PartKind
from gateway.judge.verdict import Judged
from gateway.running.notify import ServiceManager
from gateway.running.service import Service
from gateway.settings import policy_files

PASSCODE = "21161"
"""Of QX1GAT, by the algorithm in common use (from memory)."""

FAIL_SAFE_SECONDS = 20.0


def kiss_of(line: bytes, port: int = 0) -> bytes:
    """The bytes that a KISS modem sends for the frame that `line` shows."""
    frame = tnc2.read(line)
    assert isinstance(frame, Frame)
    return kiss.encode(ax25.write(frame), port)


@dataclass
class Ear(Sink):
    """A sink that keeps what it is offered."""

    judged: list[Judged] = field(default_factory=list)
    sent: list[bytes] = field(default_factory=list)

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        self.judged += [payload.judged for payload in frames]

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        assert sent_at_ms > 0
        for payload in frames:
            assert payload.judged in self.judged
            self.sent.append(payload.line)


class Decoder:
    """A decoder's socket: whoever connects gets what the test sends. `async with` opens and closes it."""

    def __init__(self) -> None:
        self.port = 0
        self._writers: list[asyncio.StreamWriter] = []
        self._server: asyncio.Server | None = None
        self._connected = asyncio.Event()

    async def __aenter__(self) -> Self:
        self._server = await asyncio.start_server(self._take, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]
        return self

    async def __aexit__(self, *_: object) -> None:
        assert self._server is not None
        self._server.close()
        for writer in self._writers:
            writer.close()
            with contextlib.suppress(OSError):
                await writer.wait_closed()

    async def send(self, octets: bytes) -> None:
        await asyncio.wait_for(self._connected.wait(), FAIL_SAFE_SECONDS)
        self._writers = [writer for writer in self._writers if not writer.is_closing()]
        for writer in self._writers:
            writer.write(octets)
            await writer.drain()

    async def _take(self, _: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)
        self._connected.set()


def station_file(folder: Path, text: str, passcode: str = PASSCODE) -> settings.StationFile:
    path = folder / "station.yaml"
    path.write_text(text, "utf-8")
    return settings.load(path, {settings.PASSCODE_VARIABLE: passcode})


@asynccontextmanager
async def running(
    station: settings.StationFile, *sinks: Sink, manager: ServiceManager | None = None
) -> AsyncIterator[Service]:
    """The service of a station file, stopped and drained at the end."""
    source = policy_files.load_for(station)
    service = Service(station, source, sinks=sinks, manager=manager)
    stop = asyncio.Event()
    task = asyncio.create_task(service.run(stop))
    try:
        yield service
    finally:
        stop.set()
        await asyncio.wait_for(task, FAIL_SAFE_SECONDS)


def part(service: Service, kind: PartKind) -> Part:
    return next(each for each in service.health().parts if each.kind is kind)


def policy_in_force(service: Service) -> str:
    """What health says of it."""
    return part(service, PartKind.POLICY).why
