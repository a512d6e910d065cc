"""Both ends of the way of a frame, for the benchmarks, and what stands between them: the gateway or a bare relay.

Each runs in a process of its own, on one core; the ends, plain programs with blocking sockets, on the other.
"""

import asyncio
import contextlib
import multiprocessing
import os
import re
import socket
import tempfile
from collections.abc import Iterator
from multiprocessing.context import SpawnProcess
from pathlib import Path

import structlog

from gateway import policy_files, service, settings
from gateway.frames import ax25, kiss, tnc2
from gateway.frames.frame import Frame

STATIONS = 200
CALLSIGN = "QX1GAT-10"
PASSCODE = 21161  # trade-notes' check value for QX1GAT
END_SECONDS = 1.0
GATEWAY_CORE, ENDS_CORE = 1, 0


def lines(frames: int) -> list[bytes]:
    """Monitor text of frames from many stations, no two of which are duplicates."""
    return [
        b"QA%03dX-%d>APRS,QD1AA*,WIDE2-1:!5836.%02dN/00355.%02dW>under way, frame %07d"
        % (number % STATIONS, number % 15 + 1, number % 100, number // 100 % 100, number)
        for number in range(frames)
    ]


def as_kiss(text: list[bytes]) -> bytes:
    """The same frames as a KISS modem sends them."""
    frames = (tnc2.read(line) for line in text)
    return b"".join(kiss.encode(ax25.write(frame)) for frame in frames if isinstance(frame, Frame))


def log_in(connection: socket.socket) -> None:
    """Greet a gateway on the server's side and accept its login."""
    connection.sendall(b"# bench 1.0\r\n")
    connection.recv(4096)
    connection.sendall(b"# logresp %b verified, server BENCH\r\n" % CALLSIGN.encode())


def most_memory_mb() -> float:
    """The most memory that this process ever had resident, in MB; 0 where /proc does not tell."""
    status = Path("/proc/self/status")
    text = status.read_text("ascii") if status.exists() else ""
    found = re.search(r"VmHWM:\s+(\d+) kB", text)
    return int(found[1]) / 1000 if found else 0.0


def pin(core: int) -> None:
    """Keep this process on one core, where the system lets it choose."""
    with contextlib.suppress(AttributeError, OSError):
        os.sched_setaffinity(0, {core})


def relay_process(decoder: int, server: int) -> None:
    """The bare relay."""

    async def relay() -> None:
        reader, source = await asyncio.open_connection("127.0.0.1", decoder)
        _, writer = await asyncio.open_connection("127.0.0.1", server)
        while line := await reader.readline():
            writer.write(line)
        await writer.drain()
        source.close()  # kept by name until here: a writer that is let go closes its connection

    pin(GATEWAY_CORE)
    asyncio.run(relay())


def gateway_process(decoder: int, server: int, policy: str) -> None:
    """The gateway, as `stile run` makes it."""
    pin(GATEWAY_CORE)
    at_first = most_memory_mb()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "station.yaml")
        path.write_text(
            f"station: {{callsign: {CALLSIGN}, position: {{latitude: 58.6, longitude: -3.9167}}}}\n"
            f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder}'}}]\n"
            f"policy: {policy}\n"
            f"uplink: {{servers: ['tcp://127.0.0.1:{server}']}}\n"
        )
        station = settings.load(path, {settings.PASSCODE_VARIABLE: str(PASSCODE)})
        source = policy_files.load(policy, station.settings.post, beside=station.folder)

        async def run() -> None:
            gateway = service.Service(station, source)
            service.spare_the_collector()
            stop = asyncio.Event()
            task = asyncio.create_task(gateway.run(stop))
            seen = -1
            while True:
                await asyncio.sleep(2 * END_SECONDS)
                counts = gateway.health().counts
                if counts.heard == seen:
                    break
                seen = counts.heard
            if counts.heard != (counts.outcomes or {}).get("sent"):
                print("   shed or lost:", counts.to_object())
            print(
                f"   gateway: {most_memory_mb():.0f} MB at most, {most_memory_mb() - at_first:.0f} MB above its imports"
            )
            stop.set()
            await task

        asyncio.run(run())


@contextlib.contextmanager
def between(decoder: int, server: int, *, network: bool, policy: str = "receive-only") -> Iterator[SpawnProcess]:
    """What stands between the two ports while the context lasts: the gateway, or the bare relay."""
    target, arguments = (gateway_process, (decoder, server, policy)) if network else (relay_process, (decoder, server))
    process = multiprocessing.get_context("spawn").Process(target=target, args=arguments)
    process.start()
    pin(ENDS_CORE)
    try:
        yield process
    finally:
        process.join(10)
        process.kill()
