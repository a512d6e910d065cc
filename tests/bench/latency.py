"""How long a frame takes from a decoder's socket to the network's, beside a bare asyncio line relay.

One frame at a time, at the pace of a busy channel times thirty. Prints the median and the 99th percentile of both, in
milliseconds, and the difference that the gateway makes.

Run it from the tree: `.venv/bin/python -m tests.bench.latency`.
"""

import argparse
import socket
import statistics
import time

from tests.bench.ends import as_kiss, between, lines, log_in

PACE_SECONDS = 0.005


def once(text: list[bytes], *, network: bool) -> list[float]:
    """Milliseconds that each frame took."""
    decoder = socket.create_server(("127.0.0.1", 0))
    server = socket.create_server(("127.0.0.1", 0))
    took = []
    with between(decoder.getsockname()[1], server.getsockname()[1], network=network):
        source, _ = decoder.accept()
        sink, _ = server.accept()
        with source, sink:
            source.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            if network:
                log_in(sink)
                time.sleep(0.5)
            for line in text:
                octets = as_kiss([line]) if network else line + b"\r\n"
                began = time.perf_counter()
                source.sendall(octets)
                while not sink.recv(4096).endswith(b"\n"):
                    pass
                took.append((time.perf_counter() - began) * 1000)
                time.sleep(PACE_SECONDS)
    return took


def main() -> None:
    """Measure both in turn and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=2000)
    parser.add_argument("--pairs", type=int, default=2)
    options = parser.parse_args()
    text = lines(options.frames)
    for pair in range(options.pairs):
        medians, tails = {}, {}
        for name, network in (("relay", False), ("gateway", True)):
            took = once(text, network=network)
            medians[name] = statistics.median(took)
            tails[name] = statistics.quantiles(took, n=100)[98]
        print(
            f"pair {pair + 1}: median relay {medians['relay']:.3f} ms, gateway {medians['gateway']:.3f} ms;"
            f" p99 relay {tails['relay']:.3f} ms, gateway {tails['gateway']:.3f} ms,"
            f" added {tails['gateway'] - tails['relay']:.3f} ms (target: less than 1)"
        )


if __name__ == "__main__":
    main()
