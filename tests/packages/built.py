"""The wheel and the source archive, built from the tree once for all tests of a process."""

import functools
import subprocess
import sys
import tempfile
from pathlib import Path

TREE = Path(__file__).parents[2]


@functools.cache
def _folder() -> "tempfile.TemporaryDirectory[str]":
    return tempfile.TemporaryDirectory(prefix="stile-packages-")


@functools.cache
def built(kind: str) -> Path:
    """The one file that a build makes; `kind` is wheel or sdist."""
    return build(kind, TREE, Path(_folder().name))


def build(kind: str, tree: Path, folder: Path) -> Path:
    """Build it from `tree`, without a look at the network."""
    command = [sys.executable, "-m", "hatchling", "build", "--target", kind, "--directory", str(folder)]
    subprocess.run(command, cwd=tree, check=True, capture_output=True)
    (made,) = folder.glob("*.whl" if kind == "wheel" else "*.tar.gz")
    return made
