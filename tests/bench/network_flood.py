"""What a network server that floods costs the gateway: the share of a core that the whole process takes, by the flood.

The promise is a tenth of a core beside what it takes anyway (`gateway/uplink/reading_budget.py`). Each flood is sent as
fast as the gateway takes it, to a gateway of its own, after some seconds without any. One that goes on is left for the
next server after half a minute, so none here is longer.
"""

import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from tests.bench.ends import Ends, Readers, line
from tests.bench.figures import Effort, Figure
from tests.bench.processes import gateway

SECONDS, QUICK_SECONDS = 20.0, 5.0
CALM_SECONDS = 3.0

FLOODS = {
    "lines": b"".join(line(number) + b"\r\n" for number in range(500)),
    "comments": b"# remark of a server\r\n" * 1000,
    "empty lines": b"\n" * 50_000,
    "no line end": b"x" * 50_000,
    "single octets": b"x",
    "single line ends": b"\n",
}


def measure(effort: Effort) -> Iterator[Figure]:
    """The figures: two minutes."""
    seconds = QUICK_SECONDS if effort.quick else SECONDS
    for name, octets in FLOODS.items():
        with tempfile.TemporaryDirectory() as folder, Readers() as readers:
            ends = Ends(readers)
            with gateway(ends, Path(folder)) as measured:
                time.sleep(CALM_SECONDS)  # what the start takes, it takes once
                before = measured.processor_seconds()
                time.sleep(CALM_SECONDS)
                began = measured.processor_seconds()
                took = ends.flood(octets, seconds)
                share = (measured.processor_seconds() - began) / seconds - (began - before) / CALM_SECONDS
        yield Figure(f"{name}, of a core", share, "of a core", f"{took / seconds / 1000:,.0f} kB/s taken")
