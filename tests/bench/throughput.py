"""How many frames a second go from a decoder's socket to the network's, beside a bare asyncio line relay.

The relay does nothing but `readline` and `write`. Prints frames per second and the ratio of each pair.

Run it from the tree: `.venv/bin/python -m tests.bench.throughput`.
"""

import argparse
import contextlib
import socket
import statistics
import threading
import time

from tests.bench.ends import END_SECONDS, as_kiss, between, lines, log_in


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
                log_in(connection)
                time.sleep(0.2)
            self._ready.set()
            connection.settimeout(END_SECONDS)
            with contextlib.suppress(TimeoutError):
                while self.received < self._frames and (data := connection.recv(1 << 18)):
                    self.received += data.count(b"\n")
                    self.seconds = time.perf_counter() - self._began


def once(text: list[bytes], *, network: bool, policy: str) -> float:
    """One measurement."""
    payload = as_kiss(text) if network else b"".join(line + b"\r\n" for line in text)
    ends = Ends(payload, len(text), network=network)
    ports = (ends.decoder.getsockname()[1], ends.server.getsockname()[1])
    with between(*ports, network=network, policy=policy):
        return ends.measure()


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
