"""How long to stay away from what failed before it is tried again. No I/O, no clock."""

import random
from collections.abc import Callable
from dataclasses import dataclass

MAXIMUM_DOUBLINGS = 16
"""Far above any sensible cap; it keeps the number small however long the other end is away."""


@dataclass(frozen=True, slots=True)
class Pauses:
    """Pauses that double with every failure in a row, in seconds."""

    first: float
    longest: float
    spread: float = 0.5
    """How much of a pause chance may take away, from 0 to 1: gateways that lost the same server at the same moment
    should not come back to it together. With 1 the pause is anything from nothing up ("full jitter")."""

    steady: float = 30.0
    """A connection that stood for so long was a good one: the pause after it is the first again."""

    doublings_after_work: int = 2
    """After a connection that did its work, but stood for less, the pause is no longer than after so many doublings."""

    def after(self, failures: int, chance: float) -> float:
        """The pause after one more failure than `failures`; `chance` is from 0 up to 1."""
        return min(self.longest, self.first * (1 << min(failures, MAXIMUM_DOUBLINGS))) * (1 - self.spread * chance)


class BackOff:
    """Counts the failures in a row and says how long to pause after each."""

    def __init__(self, pauses: Pauses, *, turns: int = 1, random: Callable[[], float] = random.random) -> None:
        """The pause doubles once in `turns` failures: once each of so many servers has failed."""
        self._pauses = pauses
        self._turns = turns
        self._random = random
        self._failures = 0

    def failed(self, stood: float = 0.0, *, worked: bool = False) -> float:
        """A connection ended that had stood for so many seconds, or none came about: pause for so many seconds.

        `worked`: it had done what it was for.
        """
        if stood >= self._pauses.steady:
            self._failures = 0
        elif worked:
            self._failures = min(self._failures, self._turns * self._pauses.doublings_after_work)
        pause = self._pauses.after(self._failures // self._turns, self._random())
        self._failures += 1
        return pause
