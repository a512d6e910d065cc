"""What the figures may be: `budgets.toml`, where a bench has a table, and a figure of it `at_most` or `at_least`."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tests.bench.figures import Figure

FILE = Path(__file__).with_name("budgets.toml")


@dataclass(frozen=True, slots=True)
class Budget:
    """Bounds of one figure, both included."""

    at_most: float = float("inf")
    at_least: float = float("-inf")

    def holds(self, figure: Figure, slack: float = 1.0) -> bool:
        """Whether the figure keeps it, being no more than `slack` times as bad."""
        return self.at_least / slack <= figure.value <= self.at_most * slack

    def __str__(self) -> str:
        bounds = {"≤": self.at_most, "≥": self.at_least}
        return " ".join(f"{sign} {bound:g}" for sign, bound in bounds.items() if abs(bound) != float("inf"))


Budgets = Mapping[tuple[str, str], Budget]
"""By bench and figure."""


def read(path: Path = FILE) -> Budgets:
    """The budgets in a file. Raises `ValueError` or `TypeError` where it is none."""
    tables = tomllib.loads(path.read_text("utf-8"))
    return {(bench, name): Budget(**bounds) for bench, table in tables.items() for name, bounds in table.items()}
