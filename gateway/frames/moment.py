"""A reading of the clocks."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Moment:
    """A reading of both clocks."""

    elapsed_ms: int
    """Since the gateway started, on a clock that is never set back: windows and rates use it."""

    time_ms: int
    """Unix time in milliseconds: hours, days and budgets use it."""
