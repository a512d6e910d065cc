"""From the start of `stile run` to the first frame accepted by the server, beside importing the dependencies.

Seconds of the processor: waiting for sockets is no cost. The dependencies are those modules, neither ours nor Python's,
that the same gateway had imported by then; a bare Python imports them. All of it was compiled before, as pip does.
"""

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import Any

from tests.bench.ends import Ends, Readers, burst
from tests.bench.figures import Effort, Figure, in_turn, ratio
from tests.bench.house import sections_of
from tests.bench.imports import dependencies, imported_by, importer
from tests.bench.processes import gateway

ROWS = {"uplink alone": frozenset[str](), "everything but the bus": frozenset({"lines", "web", "journal", "captures"})}


def first_frame(readers: Readers, sections: dict[str, Any]) -> float:
    """Seconds of the processor until it has sent a frame."""
    ends = Ends(readers)
    with tempfile.TemporaryDirectory() as folder, gateway(ends, Path(folder), sections) as measured:
        ends.send(burst(0, 1))
        if not ends.wait_for(1):
            raise AssertionError("the first frame did not come out")
        return measured.processor_seconds()


def imports_alone(names: list[str]) -> float:
    """Seconds of the processor of a Python that imports them."""
    with importer(names) as measured:
        return measured.processor_seconds()


@contextmanager
def compiled() -> Iterator[None]:
    """Let every Python begun here keep what it has compiled, whatever the surroundings say."""
    before = dict(os.environ)
    with tempfile.TemporaryDirectory() as folder:
        os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
        os.environ["PYTHONPYCACHEPREFIX"] = folder
        try:
            yield
        finally:
            os.environ.clear()
            os.environ.update(before)


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each row."""
    with compiled(), Readers() as readers:
        for name, parts in ROWS.items():
            sections = sections_of(parts, 0, "bench")
            names = dependencies(imported_by(readers, sections))
            sides = {"start": partial(first_frame, readers, sections), "imports": partial(imports_alone, names)}
            seconds = in_turn(effort.turns, sides)
            yield ratio(name, seconds["start"], seconds["imports"], "{:.2f} s".format, "importing the dependencies")
