"""The one command for every bench: `python -m tests.bench`. README.md beside it says how to use it."""

import argparse
import sys
from collections.abc import Sequence

from tests.bench import benches, budgets
from tests.bench.figures import Effort, Figure, Skipped
from tests.bench.table import as_json, table


def arguments_of(words: Sequence[str] | None) -> argparse.Namespace:
    """What was asked for."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.bench", description="Measures, each figure beside its baseline."
    )
    every = (*benches.USUAL, *benches.BY_NAME)
    parser.add_argument("--only", action="append", choices=every, metavar="NAME", help="this bench; may be said again")
    parser.add_argument("--quick", action="store_true", help="less of everything: figures are rougher")
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
    results: dict[str, list[Figure]] = {}
    for name in arguments.only or benches.USUAL:
        bench = benches.load(name)
        progress = sys.stderr if arguments.json else sys.stdout
        print(f"\n{name}: {benches.about(bench)}\n", file=progress, flush=True)
        try:
            results[name] = list(bench.measure(Effort(quick=arguments.quick)))
        except Skipped as why:
            print(f"skipped: {why}", file=progress)
        else:
            print(table(name, results[name], limits), file=progress, flush=True)
    if arguments.json:
        print(as_json(results, limits))
    broken = [
        (name, figure.name)
        for name, figures in results.items()
        for figure in figures
        if (budget := limits.get((name, figure.name))) is not None and not budget.holds(figure)
    ]
    return 1 if broken else 0


if __name__ == "__main__":
    sys.exit(main())
