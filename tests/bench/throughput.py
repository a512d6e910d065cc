"""How many frames a second go from a decoder's socket to the network's, beside a bare asyncio line relay.

Both run in turn, each in a process of its own on one core; on the other, a plain program with blocking sockets sends
and counts. The relay does nothing but `readline` and `write`. Prints frames per second and the ratio of each pair.

Run it from the tree: `.venv/bin/python tests/bench/throughput.py`.
"""

import argparse
import asyncio
import contextlib
import multiprocessing
import os
import socket
import statistics
import tempfile
import threading
import time
from pathlib import Path

import structlog

from gateway import policy_files, service, settings
from gateway.frames import ax25, kiss, tnc2
from gateway.frames.frame import Frame

STATIONS = 200
CALLSIGN = "QX1GAT-10"
PASSCODE = 21161  # trade-notes' check value for QX1GAT
END_SECONDS = 1.0


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


class Ends:
    """Both ends of the way: a decoder that sends all it has at once, and a server that counts lines."""

    def __init__(self, payload: bytes, frames: int, *, network: bool) -> None:
        self._payload = payload
        self._frames = frames
        self._network = network
        self.decoder = socket.create_server(("127.0.0.1", 0))
        self.server = socket.create_server(("127.0.0.1", 0))
        self.received = 0
        self.seconds = 0.0
        self._ready = threading.Event()
        self._began = 0.0

    def measure(self) -> float:
        """Lines a second that came out at the far end."""
        sender = threading.Thread(target=self._send)
        counter = threading.Thread(target=self._count)
        sender.start()
        counter.start()
        counter.join()
        sender.join()
        return self.received / self.seconds

    def _send(self) -> None:
        connection, _ = self.decoder.accept()
        with connection:
            self._ready.wait()
            self._began = time.perf_counter()
            connection.sendall(self._payload)
            time.sleep(END_SECONDS)

    def _count(self) -> None:
        connection, _ = self.server.accept()
        with connection:
            if self._network:
                connection.sendall(b"# bench 1.0\r\n")
                connection.recv(4096)
                connection.sendall(b"# logresp %b verified, server BENCH\r\n" % CALLSIGN.encode())
                time.sleep(0.2)
            self._ready.set()
            connection.settimeout(END_SECONDS)
            with contextlib.suppress(TimeoutError):
                while self.received < self._frames and (data := connection.recv(1 << 18)):
                    self.received += data.count(b"\n")
                    self.seconds = time.perf_counter() - self._began


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

    pin(1)
    asyncio.run(relay())


def gateway_process(decoder: int, server: int, policy: str) -> None:
    """The gateway, as `stile run` makes it."""
    pin(1)
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
            stop = asyncio.Event()
            task = asyncio.create_task(gateway.run(stop))
            seen = -1
            while True:
                await asyncio.sleep(2 * END_SECONDS)
                counts = gateway.health().counts
                if counts.heard == seen:
                    break
                seen = counts.heard
            if counts.heard != sum((counts.outcomes or {}).values()):
                print("   shed or lost:", counts.to_object())
            stop.set()
            await task

        asyncio.run(run())


def once(text: list[bytes], *, network: bool, policy: str) -> float:
    """One measurement."""
    payload = as_kiss(text) if network else b"".join(line + b"\r\n" for line in text)
    ends = Ends(payload, len(text), network=network)
    ports = (ends.decoder.getsockname()[1], ends.server.getsockname()[1])
    target, arguments = (gateway_process, (*ports, policy)) if network else (relay_process, ports)
    process = multiprocessing.get_context("spawn").Process(target=target, args=arguments)
    process.start()
    pin(0)
    try:
        return ends.measure()
    finally:
        process.join(10)
        process.kill()


def main() -> None:
    """Measure in pairs and print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=200_000)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--policy", default="receive-only")
    options = parser.parse_args()
    text = lines(options.frames)
    ratios = []
    for pair in range(options.pairs):
        relay = once(text, network=False, policy=options.policy)
        gateway = once(text, network=True, policy=options.policy)
        ratios.append(gateway / relay)
        print(f"pair {pair + 1}: relay {relay:9,.0f} lines/s, gateway {gateway:9,.0f} frames/s, ratio {ratios[-1]:.2f}")
    print(f"median ratio {statistics.median(ratios):.2f} (target: 0.5 or more)")


if __name__ == "__main__":
    main()
