"""Takes each defence of `gateway/README.md` away, one at a time, to see that the test beside it fails.

    .venv/bin/python -m tests.bench.defences
    .venv/bin/python -m tests.bench.defences test_by_any_other_name_it_is_not_known

It works on a copy of the tree, never in it: a few lines of one file are replaced, the test is run, and the file is as
it was. First each test runs with its defence in place. It ends with 1 where a test does not notice, or a row of the
page has no line here.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tests.bench.defence_list import DEFENCES, Defence

COPIED = ("gateway", "tests", "demo", "policies", "docker", "pyproject.toml", "README.md", "DEVELOPERS.md")
SECONDS_A_TEST = 90

_NAMED = re.compile(r"`(test_\w+)`")


@dataclass(frozen=True, slots=True)
class Trial:
    """What a test says with its defence, and without."""

    passes: bool
    fails_without: bool
    seconds: float

    @property
    def holds(self) -> bool:
        """Whether the test is what the page says of it."""
        return self.passes and self.fails_without


def tests_of_the_page(folder: Path) -> list[str]:
    """The tests that `gateway/README.md` names."""
    return _NAMED.findall((folder / "gateway" / "README.md").read_text("utf-8"))


def try_one(folder: Path, defence: Defence) -> Trial:
    """Run its test twice. Raises `ValueError` where what is to be replaced is not there, once."""
    path, began = folder / defence.file, time.monotonic()
    text = path.read_text("utf-8")
    if text.count(defence.stands) != 1:
        raise ValueError(f"{defence.file} holds {text.count(defence.stands)} times {defence.stands!r}")
    passes = _run(folder, defence)
    path.write_text(text.replace(defence.stands, defence.becomes), "utf-8")
    try:
        fails_without = not _run(folder, defence)
    finally:
        path.write_text(text, "utf-8")
    return Trial(passes, fails_without, time.monotonic() - began)


def _run(folder: Path, defence: Defence) -> bool:
    command = [
        sys.executable,
        "-B",
        "-m",
        "pytest",
        defence.place,
        "-x",
        "-q",
        "-k",
        defence.test,
        "-p",
        "no:cacheprovider",
    ]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        ended = subprocess.run(
            [*command, "-o", f"timeout={SECONDS_A_TEST}"], cwd=folder, env=environment, capture_output=True,
            timeout=2 * SECONDS_A_TEST, check=False,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        return False
    return ended.returncode == 0


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("tests", nargs="*", metavar="test", help="of these alone")
    chosen = parser.parse_args()
    here = Path(__file__).parents[2]
    without = [name for name in tests_of_the_page(here) if name not in {defence.test for defence in DEFENCES}]
    held = not without
    for name in without:
        print(f"{name}: no defence is listed")
    with tempfile.TemporaryDirectory(prefix="defences-") as made:
        folder = Path(made)
        for name in COPIED:
            source = here / name
            shutil.copytree(source, folder / name) if source.is_dir() else shutil.copy(source, folder / name)
        for defence in DEFENCES:
            if chosen.tests and defence.test not in chosen.tests:
                continue
            trial = try_one(folder, defence)
            held &= trial.holds
            what = "held" if trial.holds else "NOT NOTICED" if trial.passes else "FAILS AS IT STANDS"
            print(f"{what:18} {trial.seconds:5.1f} s  {defence.test}  ({defence.file})", flush=True)
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
