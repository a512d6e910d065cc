"""How long a frame takes from a decoder's socket to the network's, one at a time, beside a bare relay."""

import statistics
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from tests.bench.ends import KISS_MARK, Ends, burst
from tests.bench.figures import Effort, Figure
from tests.bench.processes import gateway, relay

FRAMES = 2000
PACE_SECONDS = 0.005
"""Thirty times as fast as a busy channel."""


def milliseconds(ends: Ends, frame: bytes) -> float:
    """How long one frame takes."""
    due = ends.received + 1
    began = time.perf_counter()
    ends.send(frame)
    ends.receive_until(due)
    return (time.perf_counter() - began) * 1000


def measure(effort: Effort) -> Iterator[Figure]:
    """What the gateway adds, in the usual case and in the worst of a hundred."""
    took: dict[str, list[float]] = {"relay": [], "gateway": []}
    with ExitStack() as stack:
        sides = {"relay": Ends(None, KISS_MARK), "gateway": Ends(None)}
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        stack.enter_context(relay(sides["relay"]))
        stack.enter_context(gateway(sides["gateway"], folder))
        sides["relay"].receive_until(0)
        for number in range(effort.of(FRAMES)):
            for name, ends in sides.items():
                took[name].append(milliseconds(ends, burst(number, 1)))
                time.sleep(PACE_SECONDS)
    for name, place in (("added, median", 49), ("added, 99th percentile", 98)):
        bare, ours = (statistics.quantiles(took[side], n=100)[place] for side in ("relay", "gateway"))
        yield Figure(name, ours - bare, "ms", f"{ours:.3f} ms", f"relay {bare:.3f} ms", len(took["gateway"]))
