"""What a gateway takes of the processor when nothing is heard: with the uplink alone, and with everything on.

A text client and a page are there, and the server's heartbeats come. There is no baseline: it is a part of one core.
"""

import time
from collections.abc import Iterator
from contextlib import ExitStack

from tests.bench.ends import Readers
from tests.bench.figures import Effort, Figure
from tests.bench.house import open_house
from tests.bench.processes import a_broker

SETTLE_SECONDS = 10.0
SECONDS, QUICK_SECONDS = 60.0, 20.0
ROWS = ("uplink alone", "everything")


def measure(effort: Effort) -> Iterator[Figure]:
    """All rows idle at the same time."""
    with ExitStack() as stack:
        broker = stack.enter_context(a_broker())
        readers = stack.enter_context(Readers())
        houses = {name: open_house(stack, readers, broker.port, name) for name in ROWS}
        time.sleep(SETTLE_SECONDS)
        began = time.monotonic()
        for house in houses.values():
            house.lap()
        time.sleep(QUICK_SECONDS if effort.quick else SECONDS)
        taken = time.monotonic() - began
        for name, house in houses.items():
            seconds = house.lap()
            yield Figure(name, 100 * seconds / taken, "% of a core", f"{seconds * 1000:.0f} ms", f"in {taken:.0f} s")
