"""Puts the frames of a capture back into the order in which they were heard, and says what is missing.

Within a run, sequence numbers count from 1 without a gap over all receivers, and the judge took them in that order. A
broker may deliver one twice, or after a later one; a recording may have begun late, or have lost some.
"""

import heapq
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from gateway.frames.plain import PlainObject
from gateway.groundwork.bounded import BoundedMapping
from gateway.replay.record import Record

MAXIMUM_HELD = 256
"""Frames held back at most while an earlier one may still come: more than a broker keeps in flight."""

MAXIMUM_OPEN_RUNS = 4
"""Runs that may go on side by side, as where one recording is of several gateways."""

MAXIMUM_NAMED = 10
"""How many incomplete runs are named; all are counted."""


@dataclass
class Order:
    """What was found of the order, and how much is missing."""

    frames: int = 0
    """Handed on, each once."""

    runs: int = 0
    runs_begun_late: int = 0
    """Runs whose first frames are not in the capture."""

    missing_at_start: int = 0
    """Frames that were heard in those runs before the first that is in the capture."""

    runs_with_gaps: int = 0
    """Runs of which frames are missing in between."""

    missing: int = 0
    """Those frames."""

    incomplete_runs: list[str] = field(default_factory=list)
    """The first of the runs of which something is missing."""

    out_of_order: int = 0
    """Frames that came after a later one, and were put in their place."""

    repeated: int = 0
    """Frames left out because they came again, or too late to be put in their place."""

    side_by_side: int = 0
    """How often the capture went back to an earlier run: it is of several gateways."""

    whole: bool = True
    """Of the run of the frame that is being handed on: whether all that its gateway knew by then is in the capture.

    That is, nothing is missing, and one policy gave every verdict so far.
    """

    @property
    def complete(self) -> bool:
        """Whether nothing is missing: an exact replay needs all that the gateway heard."""
        return not (self.missing or self.missing_at_start)

    def to_object(self) -> PlainObject:
        """The plain form."""
        found = {name: value for name, value in vars(self).items() if name not in {"frames", "whole"}}
        return {"complete": self.complete, **found}


def in_order(records: Iterable[Record], order: Order) -> Iterator[Record]:
    """The records in the order of their runs and sequence numbers; `order` is kept up to date for each handed on."""
    runs = BoundedMapping[str, _RunInOrder](MAXIMUM_OPEN_RUNS)
    current: _RunInOrder | None = None
    for record in records:
        identity = record.heard.run
        if current is None or identity != current.identity:
            buffered = runs.renew(identity)
            if buffered is None:
                for run in runs.values():  # the gateway started again: nothing of its former runs is still to come
                    yield from run.release_all()
                runs[identity] = current = _RunInOrder(identity, order)
            else:
                order.side_by_side += 1
                current = buffered
        if record.heard.sequence == current.expected and not current.held:
            yield current.hand_on(record)  # as nearly every one is
        else:
            yield from current.take(record)
    for run in runs.values():
        yield from run.release_all()


class _RunInOrder:
    """One run: what comes next, and what is held back until it comes."""

    def __init__(self, identity: str, order: Order) -> None:
        self.identity = identity
        self._order = order
        self.expected = 1
        """The number of the frame that comes next."""

        self._handed_on = 0
        self._gaps = False
        self.held: list[tuple[int, int, Record]] = []
        """Those that came before their turn, as a heap."""

        self._taken = 0
        self._policy: str | None = None
        self._whole = True
        order.runs += 1

    def take(self, record: Record) -> Iterator[Record]:
        sequence = record.heard.sequence
        if sequence == self.expected:
            yield self.hand_on(record)
            if self.held:
                self._order.out_of_order += 1
                yield from self._release_due()
        elif sequence < self.expected:
            self._order.repeated += 1
        else:
            self._taken += 1  # beside the number, so that two records of one number are not compared
            heapq.heappush(self.held, (sequence, self._taken, record))
            if len(self.held) > MAXIMUM_HELD:
                self._skip_gap()
                yield from self._release_due()

    def release_all(self) -> Iterator[Record]:
        while self.held:
            self._skip_gap()
            yield from self._release_due()

    def _release_due(self) -> Iterator[Record]:
        while self.held and self.held[0][0] <= self.expected:
            sequence, _, record = heapq.heappop(self.held)
            if sequence == self.expected:
                yield self.hand_on(record)
            else:
                self._order.repeated += 1

    def _skip_gap(self) -> None:
        """Give up waiting for what stands before the earliest that is held."""
        missing = self.held[0][0] - self.expected
        if missing <= 0:
            return
        order = self._order
        if len(order.incomplete_runs) < MAXIMUM_NAMED and self.identity not in order.incomplete_runs:
            order.incomplete_runs.append(self.identity)
        if self._handed_on:
            order.missing += missing
            order.runs_with_gaps += not self._gaps
            self._gaps = True
        else:
            order.missing_at_start += missing
            order.runs_begun_late += 1
        self.expected += missing
        self._whole = False

    def hand_on(self, record: Record) -> Record:
        if record.recorded is not None and record.recorded.policy != self._policy:
            self._whole = self._whole and self._policy is None
            self._policy = record.recorded.policy
        self._handed_on += 1
        self.expected += 1
        self._order.frames += 1
        self._order.whole = self._whole
        return record
