"""What a bench gives: figures, each a ratio or an amount beside its baseline, both measured in turn in the same run."""

import statistics
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import ModuleType
from typing import Protocol, cast

TURNS = 9
QUICK_TURNS = 3


@dataclass(frozen=True, slots=True)
class Effort:
    """How much trouble a bench takes."""

    quick: bool = False

    @property
    def turns(self) -> int:
        """How often each side of a comparison is measured: the median counts."""
        return QUICK_TURNS if self.quick else TURNS

    def of(self, full: int) -> int:
        """So many frames, calls or seconds where time does not matter, a tenth of it where it does."""
        return max(1, full // 10) if self.quick else full


@dataclass(frozen=True, slots=True)
class Figure:
    """One result."""

    name: str
    value: float
    """What a budget is about: a ratio, or an amount for which there is no baseline."""

    unit: str
    """`x` for a ratio, else the unit of the amount."""

    measured: str = ""
    baseline: str = ""
    """Both in words, with their units; the baseline says what it is."""

    turns: int = 1


class Skipped(Exception):  # noqa: N818 - nothing went wrong
    """The bench cannot run here; the message says what it lacks."""


class Bench(Protocol):
    """A module of this folder: its docstring's first line says what it measures beside what."""

    __doc__: str | None

    def measure(self, effort: Effort) -> Iterator[Figure]:
        """The figures, as they come. Raises `Skipped`."""


def as_bench(module: ModuleType) -> Bench:
    """A module that keeps to the protocol, as a bench."""
    return cast("Bench", module)


def in_turn(turns: int, sides: Mapping[str, Callable[[], float]]) -> dict[str, list[float]]:
    """What each side gives, measured one after the other, again and again: what else the machine does falls on all."""
    results: dict[str, list[float]] = {name: [] for name in sides}
    for _ in range(turns):
        for name, measure in sides.items():
            results[name].append(measure())
    return results


def ratio(
    name: str, ours: Sequence[float], baseline: Sequence[float], words: Callable[[float], str], baseline_name: str
) -> Figure:
    """Ours over the baseline, the median of the turns; `words` says an amount with its unit."""
    value = statistics.median(our / its for our, its in zip(ours, baseline, strict=True))
    measured, beside = words(statistics.median(ours)), words(statistics.median(baseline))
    return Figure(name, value, "x", measured, f"{baseline_name} {beside}", len(ours))


def per_second(what: str) -> Callable[[float], str]:
    """Says how many a second."""
    return lambda rate: f"{rate:,.0f} {what}/s"


def microseconds(seconds: float) -> str:
    """Says a short time."""
    return f"{seconds * 1e6:,.1f} µs"
