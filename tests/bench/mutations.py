"""Which mistakes the tests would miss: changes a room in many small ways, one at a time, to see whether a test fails.

The bench goes through all rooms and prints each survivor with its place. For some rooms or modules alone, or longer,

    .venv/bin/python -m tests.bench.mutations judge frames --minutes 30

prints a table of what was killed and what survived as well. It works on copies of the tree,
never in it, on two cores at most, and tries no more mutants after the stated time; those it did not come to are
counted. Their order is drawn by chance, always the same, so that a short run is a fair sample of a long one.

General tools for this leave out what has a decorator and what stands outside of functions, which here are the readers
of headers and the tables of rules, or start an interpreter for each of thousands of changes.
"""

import argparse
import random
import signal
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import redirect_stdout
from pathlib import Path

from tests.bench.figures import Effort, Figure
from tests.bench.mutant_trials import End, Place, Trials, load_what_tests_need
from tests.bench.mutants import mutants_of

ROOMS = {
    "judge": ["tests/judge"],
    "frames": ["tests/frames", "tests/judge/test_network_rules.py"],
    "reports": ["tests/reports"],
}
"""The rooms, each with the tests that hold it."""

MINUTES = 30
LONGEST_SHOWN = 70


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("rooms", nargs="*", metavar="room", choices=[*ROOMS, []], help=f"of {', '.join(ROOMS)}; all")
    parser.add_argument(
        "--only", nargs="+", default=[], metavar="FILE", help="of these modules alone, as judge/rates.py"
    )
    parser.add_argument("--minutes", type=float, default=MINUTES, help=f"begin no trial after so long ({MINUTES})")
    parser.add_argument("--slowest", type=float, default=2.0, help="ask no test that takes more seconds than so (2)")
    parser.add_argument("--cores", type=int, choices=(1, 2), default=2, help="processes at work at a time (2)")
    return parser


def main() -> None:
    """The command line."""
    chosen = _parser().parse_args()
    until = time.monotonic() + chosen.minutes * 60
    load_what_tests_need()
    ends: dict[Place, End] = {}
    signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        for room in chosen.rooms or ROOMS:
            modules = [str(path) for path in sorted(Path("gateway", room).glob("*.py"))]
            modules = [one for one in modules if not chosen.only or one.removeprefix("gateway/") in chosen.only]
            if modules:
                ends.update(_tried(modules, ROOMS[room], chosen, until))
    except KeyboardInterrupt:
        print("ended early: this is what was tried until then")
    _print_table(ends)
    _print_survivors(ends)


def measure(effort: Effort) -> Iterator[Figure]:
    """For each room, how many of those tried survived; each survivor is printed with its place."""
    chosen = _parser().parse_args(["--minutes", str(effort.of(MINUTES))])
    load_what_tests_need()
    for room, tests in ROOMS.items():
        modules = [str(path) for path in sorted(Path("gateway", room).glob("*.py"))]
        ends = dict(_tried(modules, tests, chosen, time.monotonic() + chosen.minutes * 60 / len(ROOMS)))
        with redirect_stdout(sys.stderr):
            _print_survivors(ends)
        counted = Counter(ends.values())
        tried = len(ends) - counted[End.NOT_TRIED]
        share = 100 * counted[End.SURVIVED] / max(1, tried)
        yield Figure(
            f"{room}, survived", share, "%", f"{counted[End.SURVIVED]} of {tried} tried", f"{len(ends)} in all"
        )


def _tried(
    modules: Sequence[str], tests: Sequence[str], chosen: argparse.Namespace, until: float
) -> Iterator[tuple[Place, End]]:
    places = [Place(module, mutant) for module in modules for mutant in mutants_of(Path(module).read_text("utf-8"))]
    random.Random(1).shuffle(places)
    with tempfile.TemporaryDirectory(prefix="mutants-") as folder:
        trials = Trials(Path.cwd(), Path(folder), tests, chosen.cores)
        baseline = trials.baseline(modules, chosen.slowest)
        for number, (place, end) in enumerate(trials.run(places, baseline, until), 1):
            yield place, end
            print(f"\r{number} of {len(places)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)


def _print_table(ends: dict[Place, End]) -> None:
    counted = Counter((place.module, end) for place, end in ends.items())
    modules = sorted({place.module for place in ends})
    print(f"{'module':32}" + "".join(f"{end:>16}" for end in End))
    for module in modules:
        print(f"{module:32}" + "".join(f"{counted[module, end]:>16}" for end in End))
    print(f"{'all':32}" + "".join(f"{sum(counted[module, end] for module in modules):>16}" for end in End))


def _print_survivors(ends: dict[Place, End]) -> None:
    survived = [place for place, end in ends.items() if end is End.SURVIVED]
    for place in sorted(survived, key=lambda place: (place.module, place.mutant.line, place.mutant.becomes)):
        was, becomes = (_on_one_line(text) for text in (place.mutant.was, place.mutant.becomes))
        print(f"{place.module}:{place.mutant.line}: {was}  ->  {becomes}")


def _on_one_line(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= LONGEST_SHOWN else f"{line[: LONGEST_SHOWN - 1]}…"


if __name__ == "__main__":
    main()
