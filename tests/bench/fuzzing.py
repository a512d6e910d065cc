"""Octets that are made to reach new code, into everything that reads what strangers send.

    .venv/bin/pip install 'atheris>=3,<4'        # a fuzzer that is led by coverage; it has wheels for Linux
    .venv/bin/python -m tests.bench.fuzzing --minutes 60
    .venv/bin/python -m tests.bench.fuzzing --only report --minutes 5

Each target of `fuzz_targets.py` has its share of the time, in one process after the other. The minutes are of the
processor, so that a busy computer takes longer and tries no less. What a reader lets out, or takes more than some
seconds or memory for, is printed with its octets, and it ends with 1. One line a target tells how many inputs there
were, and how many branches they reached.
"""

import argparse
import re
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SECONDS_AN_INPUT = 5.0
"""Of the processor."""

ENDLESS_SECONDS = 900
"""By the clock on the wall: a process may be stopped for a while by whoever measures something else."""

MEMORY_MB = 1000
LONGEST_INPUT = 2000

_DONE = re.compile(r"^Done \d+ runs", re.MULTILINE)
_STATUS = re.compile(r"#(\d+)\s+\w+\s+cov: (\d+)")


def fuzz(name: str, folder: str, seconds: int) -> None:
    """In a process of its own: never returns."""
    import atheris  # noqa: PLC0415 - installed by hand, for this alone

    with atheris.instrument_imports(include=["gateway"]):
        from tests.bench.fuzz_targets import TARGETS  # noqa: PLC0415 - counted from its import on

    target = TARGETS[name]
    for number, beginning in enumerate(target.beginnings):
        (Path(folder) / f"beginning-{number}").write_bytes(beginning)
    endless = [f"-{which}={ENDLESS_SECONDS}" for which in ("timeout", "report_slow_units")]
    limits = [f"-max_total_time={seconds}", *endless, f"-rss_limit_mb={MEMORY_MB}"]

    def read(data: bytes) -> None:
        began = time.process_time()
        target.read(data)
        if time.process_time() - began > SECONDS_AN_INPUT:
            raise AssertionError(f"it took more than {SECONDS_AN_INPUT:g} s")

    atheris.Setup([name, folder, f"-max_len={LONGEST_INPUT}", f"-artifact_prefix={folder}/found-", *limits], read)
    atheris.Fuzz()


def run(name: str, seconds: int) -> bool:
    """Fuzz one target for so many seconds of the processor; whether nothing got out.

    The fuzzer itself counts by the clock on the wall, so it is begun again, with all it has found so far, for what is
    left.
    """
    began, inputs, branches = _processor_seconds(), 0, 0
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        while (left := seconds - (_processor_seconds() - began)) >= 1:
            command = [sys.executable, "-m", "tests.bench.fuzzing", "--child", name, folder, str(round(left))]
            said = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False).stderr
            counted = [(int(count), int(reached)) for count, reached in _STATUS.findall(said)]
            inputs += max((count for count, _ in counted), default=0)
            branches = max([branches, *(reached for _, reached in counted)])
            found = sorted(Path(folder).glob("found-*"))
            for path in found:
                print(f"  {name}: {path.name[6:20]}: {path.read_bytes()!r}")
            if found or not _DONE.search(said):
                print("\n".join(said.splitlines()[-40:]))
                return False
    used = (_processor_seconds() - began) / 60
    print(f"{name:14} {inputs:>10,} inputs  {branches:>6} branches reached  {used:5.1f} min", flush=True)
    return True


def _processor_seconds() -> float:
    """What the processes that have ended used."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def names() -> list[str]:
    """Of all targets."""
    text = (Path(__file__).parent / "fuzz_targets.py").read_text("utf-8")
    return re.findall(r'^    "([a-z-]+)": Fuzzed\(', text, re.MULTILINE)


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--only", action="append", choices=names(), metavar="TARGET", help="; ".join(names()))
    parser.add_argument("--minutes", type=float, default=60.0, help="of the processor, in all (60)")
    parser.add_argument("--child", nargs=3, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.child:
        name, folder, seconds = chosen.child
        fuzz(name, folder, int(seconds))
    wanted = chosen.only or names()
    held = [run(name, max(1, int(chosen.minutes * 60 / len(wanted)))) for name in wanted]
    return 0 if all(held) else 1


if __name__ == "__main__":
    sys.exit(main())
