"""Takes each defence of `gateway/README.md` away, one at a time, to see that the test beside it fails.

    .venv/bin/python -m tests.bench.defences
    .venv/bin/python -m tests.bench.defences test_by_any_other_name_it_is_not_known

It works on a copy of the tree, never in it: a few lines of one file are replaced, the test is run, and the file is as
it was. It ends with 1 where a test does not notice or does not run, or a row of the page has no line here. That each
test passes with its defence in place, the usual run shows.
"""

import argparse
import os
import re
import shutil
import subprocess
import sys
import tempfile
from enum import StrEnum
from pathlib import Path

from tests.bench.defence_list import DEFENCES, Defence

COPIED = ("gateway", "tests", "demo", "policies", "docker", "pyproject.toml", "README.md", "DEVELOPERS.md")
SECONDS_A_TEST = 90
TESTS_FAILED = 1
"""What pytest ends with where it ran tests and one failed."""

_NAMED = re.compile(r"`(test_\w+)`")


class End(StrEnum):
    """What came of it."""

    HELD = "held"
    """The test failed, or hung until its time was over."""

    NOT_NOTICED = "NOT NOTICED"
    NOT_RUN = "DID NOT RUN"


def tests_of_the_page(folder: Path) -> list[str]:
    """The tests that `gateway/README.md` names."""
    return _NAMED.findall((folder / "gateway" / "README.md").read_text("utf-8"))


def try_one(folder: Path, defence: Defence) -> End:
    """Run its test without it. Raises `ValueError` where what is to be replaced is not there, once."""
    path = folder / defence.file
    text = path.read_text("utf-8")
    if text.count(defence.stands) != 1:
        raise ValueError(f"{defence.file} holds {text.count(defence.stands)} times {defence.stands!r}")
    path.write_text(text.replace(defence.stands, defence.becomes), "utf-8")
    try:
        return _run(folder, defence)
    finally:
        path.write_text(text, "utf-8")


def _run(folder: Path, defence: Defence) -> End:
    chosen = [
        defence.place,
        "-x",
        "-q",
        "-k",
        defence.test,
        "-p",
        "no:cacheprovider",
        "-o",
        f"timeout={SECONDS_A_TEST}",
    ]
    command = [sys.executable, "-B", "-m", "pytest", *chosen]
    environment = {**os.environ, "PYTHONPATH": str(folder), "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        ended = subprocess.run(
            command, cwd=folder, env=environment, capture_output=True, timeout=2 * SECONDS_A_TEST, check=False
        )
    except subprocess.TimeoutExpired:
        return End.HELD
    return {0: End.NOT_NOTICED, TESTS_FAILED: End.HELD}.get(ended.returncode, End.NOT_RUN)


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
            end = try_one(folder, defence)
            held &= end is End.HELD
            print(f"{end:12} {defence.test}  ({defence.file})", flush=True)
    return 0 if held else 1


if __name__ == "__main__":
    sys.exit(main())
