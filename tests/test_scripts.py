"""Every script of shell in the tree is one that a plain shell reads."""

import subprocess
from pathlib import Path

import pytest

TREE = Path(__file__).parent.parent
SCRIPTS = [
    path
    for folder in (".ci", "demo", "docker", "tests")
    for path in sorted((TREE / folder).iterdir())
    if path.is_file() and (path.suffix == ".sh" or path.read_bytes().startswith(b"#!/bin/sh"))
]


def test_the_scripts_that_everybody_calls_are_among_them() -> None:
    names = {str(path.relative_to(TREE)) for path in SCRIPTS}
    assert {".ci/run", "tests/run", "demo/run", "demo/environment.sh", "docker/pin"} <= names


@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: str(path.relative_to(TREE)))
def test_a_plain_shell_reads_it(script: Path) -> None:
    read = subprocess.run(["sh", "-n", str(script)], capture_output=True, text=True, check=False)
    assert (read.returncode, read.stderr) == (0, "")
