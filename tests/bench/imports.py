"""What a gateway has imported, and a process that imports as much and nothing else."""

import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from tests.bench.ends import Ends, Readers, burst
from tests.bench.processes import Measured, gateway

_IMPORT_ALL = """
import importlib, sys
for name in sys.argv[1:]:
    try:
        importlib.import_module(name)
    except ImportError:
        pass
print(flush=True)
sys.stdin.read()
"""


def imported_by(readers: Readers, sections: dict[str, Any]) -> list[str]:
    """The modules, in their order, that a gateway with these sections has imported once it has sent a frame."""
    with tempfile.TemporaryDirectory() as folder, tempfile.TemporaryFile() as errors:
        ends = Ends(readers)
        with gateway(ends, Path(folder), sections, errors=errors):
            ends.send(burst(0, 1))
            if not ends.wait_for(1):
                raise AssertionError("the first frame did not come out")
        errors.seek(0)
        return [line.rpartition("|")[2].strip() for line in errors.read().decode().splitlines() if _is_import(line)]


def dependencies(names: list[str]) -> list[str]:
    """Those of other people: neither ours nor Python's own."""
    ours = {"gateway", "__main__"}
    return [name for name in names if name.partition(".")[0] not in ours | sys.stdlib_module_names]


@contextmanager
def importer(names: list[str]) -> Iterator[Measured]:
    """A process that has imported them, and waits."""
    command = [sys.executable, "-c", _IMPORT_ALL, *names]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        process.stdout.readline()
        yield Measured(process)
        process.communicate()


def _is_import(line: str) -> bool:
    """As Python writes them: `import time:       123 |        456 |   package.module`, after a line with a head."""
    return line.startswith("import time:") and "imported package" not in line
