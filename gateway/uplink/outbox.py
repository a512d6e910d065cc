"""What waits to go up, bounded in octets and in age, and what became of every line that was offered. No I/O, no clock.

At every moment: offered = sent + late + dropped + stopped + refused + waiting.
"""

from collections import deque
from collections.abc import Callable, Sequence
from enum import StrEnum
from typing import Generic, Protocol, TypeVar


class Outcome(StrEnum):
    """What became of a line that was to go up. Every line has one in the end, and only one."""

    SENT = "sent"
    """Handed to a verified connection: it is never handed over again."""

    LATE = "late"
    """It waited longer than it stays fresh: it never goes, as it would show a vehicle where it no longer is."""

    DROPPED = "dropped"
    """The queue was full, and it was the oldest."""

    STOPPED = "stopped"
    """The gateway stopped before it could go."""

    REFUSED = "refused"
    """The login is not verified: the network takes nothing from it."""


class Departure(Protocol):
    """What is to go up: a line, whatever else it knows. The same object comes back with its outcome."""

    @property
    def line(self) -> bytes:
        """As the network gets it, CR LF included."""

    @property
    def since_ms(self) -> int:
        """The elapsed time at which its frame was heard: freshness counts from there."""


AnyDeparture = TypeVar("AnyDeparture", bound=Departure)

Report = Callable[[Outcome, Sequence[AnyDeparture]], None]
"""Told of outcomes, in batches; the counts already hold them when it is called."""


class LineOutbox(Generic[AnyDeparture]):
    """A queue of departures, oldest first, that knows when a line is too old and what became of each."""

    def __init__(self, *, freshness_ms: int, limit_octets: int, report: Report[AnyDeparture]) -> None:
        """`report` is told of every outcome but `sent`, of which whoever calls `sent` knows."""
        self.offered = 0
        self.counts = dict.fromkeys(Outcome, 0)

        self._freshness_ms = freshness_ms
        self._limit_octets = limit_octets
        self._report = report
        self._waiting: deque[AnyDeparture] = deque()
        self._octets = 0

    @property
    def waiting(self) -> int:
        """How many lines wait."""
        return len(self._waiting)

    @property
    def octets(self) -> int:
        """How many octets wait; over the limit only between `put` and `trim`."""
        return self._octets

    @property
    def expires_ms(self) -> int | None:
        """When the oldest line is no longer fresh; None where nothing waits."""
        return self._waiting[0].since_ms + self._freshness_ms + 1 if self._waiting else None

    def put(self, departures: Sequence[AnyDeparture]) -> None:
        """Let `departures` wait, after those that already do. `trim` then keeps the queue within its bound."""
        self.offered += len(departures)
        self._waiting.extend(departures)
        self._octets += sum([len(departure.line) for departure in departures])

    def expire(self, now_ms: int) -> None:
        """Let go of the lines at the head of the queue that are no longer fresh."""
        oldest_ms = now_ms - self._freshness_ms
        waiting = self._waiting
        late: list[AnyDeparture] = []
        while waiting and waiting[0].since_ms < oldest_ms:
            late.append(waiting.popleft())
        self._let_go(Outcome.LATE, late)

    def trim(self) -> None:
        """Drop the oldest lines until the queue is within its bound."""
        excess = self._octets - self._limit_octets
        dropped: list[AnyDeparture] = []
        while excess > 0:
            dropped.append(self._waiting.popleft())
            excess -= len(dropped[-1].line)
        self._let_go(Outcome.DROPPED, dropped)

    def take_fresh(self, now_ms: int, octets: int) -> list[AnyDeparture]:
        """Lines from the head of the queue, up to the first that is not fresh or to at least `octets`.

        Whoever takes them sends them, and says so with `sent` before anything else is done here.
        """
        oldest_ms = now_ms - self._freshness_ms
        waiting = self._waiting
        taken: list[AnyDeparture] = []
        total = 0
        while waiting and total < octets and waiting[0].since_ms >= oldest_ms:
            departure = waiting.popleft()
            taken.append(departure)
            total += len(departure.line)
        self._octets -= total
        return taken

    def sent(self, taken: Sequence[AnyDeparture]) -> None:
        """What `take_fresh` gave was handed to a verified connection."""
        self.counts[Outcome.SENT] += len(taken)

    def give_up(self, outcome: Outcome) -> None:
        """Everything that waits comes to the same end."""
        everything = list(self._waiting)
        self._waiting.clear()
        self._let_go(outcome, everything)

    def _let_go(self, outcome: Outcome, departures: list[AnyDeparture]) -> None:
        if departures:
            self._octets -= sum([len(departure.line) for departure in departures])
            self.counts[outcome] += len(departures)
            self._report(outcome, departures)
