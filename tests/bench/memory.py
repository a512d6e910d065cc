"""Memory of a gateway with everything on, above its imports: when it idles, and after a flood of frames.

The million frames are from 100,000 sources; with `--quick` it is a tenth of both. A process that has imported the
same modules, ours too, and done nothing is what is taken off.
"""

import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from gateway.frames.header import without_ssid_0
from tests.bench.ends import Ends, Readers, in_kiss
from tests.bench.figures import Effort, Figure
from tests.bench.house import HOUSES, sections_of, visit
from tests.bench.imports import imported_by, importer
from tests.bench.processes import a_broker, gateway

FRAMES, SOURCES = 1_000_000, 100_000
AT_A_TIME = 1000
IDLE_SECONDS = 5.0
UNIT = "MB above imports"


def line(number: int, sources: int) -> bytes:
    """A frame of the next source; no information twice."""
    station = number % sources
    callsign = without_ssid_0(f"Q{station // 16:05d}-{station % 16}").encode("ascii")
    return b"%b>APRS,QD1AA*,WIDE2-1:!5836.%02dN/00355.%02dW>frame %d" % (callsign, number % 60, number % 59, number)


def feed(ends: Ends, frames: int, sources: int) -> None:
    """A thousand after the other, each once the one before has come out."""
    for first in range(0, frames, AT_A_TIME):
        ends.send(in_kiss([line(number, sources) for number in range(first, first + AT_A_TIME)]))
        if not ends.wait_for(first + AT_A_TIME):
            raise AssertionError(f"after {first} frames no more came out")


def measure(effort: Effort) -> Iterator[Figure]:
    """Idle, then flooded."""
    with ExitStack() as stack:
        broker = stack.enter_context(a_broker())
        readers = stack.enter_context(Readers())
        names = imported_by(readers, sections_of(HOUSES["everything"], broker.port, "imports"))
        with importer(names) as bare:
            imports_mb = bare.memory_mb()
        sections = sections_of(HOUSES["everything"], broker.port, "memory")
        ends, folder = Ends(readers), stack.enter_context(tempfile.TemporaryDirectory())
        measured = stack.enter_context(gateway(ends, Path(folder), sections))
        visit(readers, sections)
        time.sleep(IDLE_SECONDS)
        beside = f"imports {imports_mb:.1f} MB"
        idle_mb = measured.memory_mb()
        yield Figure("idle", idle_mb - imports_mb, UNIT, f"{idle_mb:.1f} MB", beside)
        feed(ends, effort.of(FRAMES), effort.of(SOURCES))
        full_mb = measured.memory_mb()
        yield Figure("after the flood", full_mb - imports_mb, UNIT, f"{full_mb:.1f} MB", beside)
