"""The one command for every bench: `python -m tests.bench`. README.md beside it says how to use it."""

import argparse
import sys
from collections.abc import Iterator, Mapping, Sequence
from typing import TextIO

from tests.bench import benches, budgets
from tests.bench.budgets import Budgets
from tests.bench.figures import Effort, Figure, Skipped
from tests.bench.table import as_json, table, value_of

HOLD_SLACK = 2.0
HOLD_TRIES = 2


def arguments_of(words: Sequence[str] | None) -> argparse.Namespace:
    """What was asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench", description="Measures, each figure beside its baseline."
    )
    every = (*benches.USUAL, *benches.BY_NAME)
    parser.add_argument("--only", action="append", choices=every, metavar="NAME", help="this bench; may be said again")
    parser.add_argument("--quick", action="store_true", help="less of everything: figures are rougher")
    parser.add_argument(
        "--hold",
        action="store_true",
        help="quickly, what CI holds: fails where a budget is missed by twice as much, and once more when tried again",
    )
    parser.add_argument("--json", action="store_true", help="print the figures as JSON")
    parser.add_argument("--list", action="store_true", help="say which benches there are")
    return parser.parse_args(words)


def tell_benches() -> None:
    """What there is to measure."""
    for title, names in (("usual", benches.USUAL), ("only by name", benches.BY_NAME)):
        print(f"{title}:")
        for name in names:
            print(f"  {name:15} {benches.about(benches.load(name))}")


def main(words: Sequence[str] | None = None) -> int:
    """Measure and print; returns the exit status: 1 where a budget is broken."""
    arguments = arguments_of(words)
    if arguments.list:
        tell_benches()
        return 0
    limits = budgets.read()
    progress = sys.stderr if arguments.json else sys.stdout
    if arguments.hold:
        return 0 if hold(arguments.only or benches.HELD, limits, progress) else 1
    results = measured(arguments.only or benches.USUAL, Effort(quick=arguments.quick), limits, progress)
    if arguments.json:
        print(as_json(results, limits))
    return 1 if any(broken(results, limits)) else 0


def measured(names: Sequence[str], effort: Effort, limits: Budgets, progress: TextIO) -> dict[str, list[Figure]]:
    """The figures of each bench, with a table of them as soon as it is done."""
    results: dict[str, list[Figure]] = {}
    for name in names:
        bench = benches.load(name)
        print(f"\n{name}: {benches.about(bench)}\n", file=progress, flush=True)
        try:
            results[name] = list(bench.measure(effort))
        except Skipped as why:
            print(f"skipped: {why}", file=progress)
        else:
            print(table(name, results[name], limits), file=progress, flush=True)
    return results


def broken(
    results: Mapping[str, Sequence[Figure]], limits: Budgets, slack: float = 1.0
) -> Iterator[tuple[str, Figure]]:
    """The figures, each with its bench, that are more than `slack` times as bad as they may be."""
    for name, figures in results.items():
        for figure in figures:
            budget = limits.get((name, figure.name))
            if budget is not None and not budget.holds(figure, slack):
                yield name, figure


def hold(names: Sequence[str], limits: Budgets, progress: TextIO) -> bool:
    """Whether no figure is twice as bad as its budget, measured quickly; those that are get a second try.

    Figures are ratios, so that a slow computer is no reason; a busy one may be, once.
    """
    bad: dict[tuple[str, str], Figure] = {}
    for _ in range(HOLD_TRIES):
        results = measured(names, Effort(quick=True), limits, progress)
        bad = {(name, figure.name): figure for name, figure in broken(results, limits, HOLD_SLACK)}
        names = list(dict.fromkeys(name for name, _ in bad))
        if not bad:
            break
    for (name, _), figure in bad.items():
        budget = limits[name, figure.name]
        print(f"{name}: {figure.name} is {value_of(figure)}, {HOLD_TRIES} times; its budget is {budget}")
    return not bad


if __name__ == "__main__":
    sys.exit(main())
