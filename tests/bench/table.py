"""Figures for people, as a table, and for programs, as JSON."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict

from tests.bench.budgets import Budget, Budgets
from tests.bench.figures import Figure

HEAD = ("figure", "measured", "beside", "value", "budget")


def value_of(figure: Figure) -> str:
    """A figure's value with its unit."""
    digits = 2 if abs(figure.value) < 100 else 0
    return f"{figure.value:,.{digits}f} {figure.unit}"


def row(bench: str, figure: Figure, budgets: Budgets) -> tuple[str, ...]:
    """The cells of one figure."""
    budget = budgets.get((bench, figure.name))
    kept = "" if budget is None else f"{budget}{'' if budget.holds(figure) else ': broken'}"
    return (figure.name, figure.measured, figure.baseline, value_of(figure), kept)


def table(bench: str, figures: Sequence[Figure], budgets: Budgets) -> str:
    """The table of one bench, in Markdown that is read as it stands."""
    rows = [HEAD, *(row(bench, figure, budgets) for figure in figures)]
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    lines = ["| " + " | ".join(map(str.ljust, cells, widths)) + " |" for cells in rows]
    lines.insert(1, "| " + " | ".join("-" * width for width in widths) + " |")
    return "\n".join(lines)


def as_json(results: Mapping[str, Sequence[Figure]], budgets: Budgets) -> str:
    """All results as one array of objects."""
    told = []
    for bench, figures in results.items():
        for figure in figures:
            budget: Budget | None = budgets.get((bench, figure.name))
            kept = None if budget is None else budget.holds(figure)
            told.append({"bench": bench, **asdict(figure), "budget": str(budget or ""), "kept": kept})
    return json.dumps(told, indent=2, ensure_ascii=False)
