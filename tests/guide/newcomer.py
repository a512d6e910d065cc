"""What a newcomer starts with, and how long each step takes."""

import contextlib
import subprocess
import tarfile
import time
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path

from tests.guide.pages import TREE

FORWARDED = "1 verified, 0 not), [1-9][0-9]* lines"
"""What the stand-in server says of itself once it has accepted a line, as grep and Python read it."""


class Record:
    """The steps of a way, with the time that each took."""

    def __init__(self, way: str) -> None:
        self._way = way
        self._began = time.monotonic()
        self._steps: list[tuple[str, float, float]] = []

    @contextlib.contextmanager
    def step(self, words: str) -> Iterator[None]:
        """Note how long a step takes, and when it is done."""
        began = time.monotonic()
        yield
        ended = time.monotonic()
        self._steps.append((words, ended - began, ended - self._began))

    def __str__(self) -> str:
        """A line for each step: how long it took, when it was done, both in minutes and seconds, and what it was."""
        shown = [f"{in_minutes(took)}  {in_minutes(done)}  {words}" for words, took, done in self._steps]
        return "\n".join(["", f" took   done  {self._way}", *shown, ""])


def in_minutes(seconds: float) -> str:
    return f"{int(seconds) // 60:2}:{seconds % 60:04.1f}"


def run(*command: str | Path, told: bytes = b"") -> str:
    """What a command prints; it must end well."""
    ended = subprocess.run(list(map(str, command)), input=told, capture_output=True, check=False)
    assert ended.returncode == 0, f"{command}\n{ended.stdout.decode()}\n{ended.stderr.decode()}"
    return ended.stdout.decode()


def clone() -> bytes:
    """The files of the tree that are in the repository, as they are now, packed by tar."""
    names = run("git", "-C", TREE, "ls-files", "--cached", "--others", "--exclude-standard").splitlines()
    packed = BytesIO()
    with tarfile.open(fileobj=packed, mode="w") as archive:
        for name in names:
            if (TREE / name).exists():
                archive.add(TREE / name, name)
    return packed.getvalue()
