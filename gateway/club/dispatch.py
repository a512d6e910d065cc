"""The frames that the hubs judged `forward`, at one hub: what waits to be sent, and what became of each. No I/O.

Every hub keeps them, oldest first, whether or not it holds the lease; so the next holder has what it may still send.
The holder gives out a batch: it is written into the lease's mark, then handed to the network, or nobody knows. At
every moment: offered = the sum of all outcomes + waiting + given out.

Times are stream time in milliseconds: `latest_ms` is the latest that it can be now, and a frame carries the earliest
moment at which it can have been heard.
"""

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

BATCH_LINES = 64
"""As many lines as one mark covers at most: so many are unconfirmed at most where a hub dies between mark and write."""

LIMIT_OCTETS = 4 * 1024 * 1024
"""Of lines that wait: a standby holds what was heard within `freshness`, twenty thousand short lines a second for 4 s,
and a country's usual traffic for a minute. Past it the oldest goes."""


class DispatchOutcome(StrEnum):
    """What became of a frame judged `forward`, as one hub knows it. Every frame has one, and only one."""

    SENT = "sent"
    """Handed to a verified connection of this hub's."""

    ELSEWHERE = "elsewhere"
    """Given out by the hub that held the lease, which went on to live after it."""

    LATE = "late"
    """It waited longer than it stays fresh."""

    UNCONFIRMED = "unconfirmed"
    """Given out, and nobody knows whether it went: its mark was not answered, or came too late to send, or its hub
    died right after. It is never sent again."""

    DROPPED = "dropped"
    """Too many waited, and it was the oldest."""

    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Due:
    """A line that may go up."""

    sequence: int
    """Of its frame in the stream."""

    line: bytes
    """As the network gets it from this hub, CR LF included."""

    moment_ms: int
    """When its frame was heard, in stream time, at the earliest."""

    ticket: object = None
    """Whatever the caller needs to know it again."""


Report = Callable[[DispatchOutcome, Sequence[Due]], None]
"""Told of every outcome, in batches; the counts already hold them when it is called."""


class Dispatch:
    """The frames judged `forward` at one hub."""

    def __init__(self, *, freshness_ms: int, report: Report, limit_octets: int = LIMIT_OCTETS) -> None:
        self.offered = 0
        self.counts = dict.fromkeys(DispatchOutcome, 0)
        self._freshness_ms = freshness_ms
        self._limit_octets = limit_octets
        self._report = report
        self._waiting: deque[Due] = deque()
        self._octets = 0
        self._given_out: list[Due] = []
        self._doubtful: list[Due] = []
        """Under another holder's newest mark: it gave them out, and has not been seen to live since."""

        self._life: tuple[int, int] | None = None
        self._mark = 0
        """Of the hub that held the lease before, or holds it: up to there nothing is this hub's to send."""

        self._taken_over = False

    @property
    def waiting(self) -> int:
        """How many wait, those among them of which another hub is just sending."""
        return len(self._waiting) + len(self._doubtful)

    @property
    def given_out(self) -> int:
        """How many are under the mark that is being written, or was."""
        return len(self._given_out)

    def put(self, dues: Sequence[Due]) -> None:
        """Let lines wait, in the order of the stream."""
        self.offered += len(dues)
        self._waiting.extend(dues)
        self._octets += sum([len(due.line) for due in dues])
        self._leave_to_others()
        dropped: list[Due] = []
        while self._octets > self._limit_octets:
            dropped.append(self._pop())
        self._settle(DispatchOutcome.DROPPED, dropped)

    def expire(self, latest_ms: int) -> None:
        """Let go of the oldest for as long as they are no longer fresh.

        Behind a fresh one, a stale one stays until it is its turn: it was long under way from its post.
        """
        oldest_ms = latest_ms - self._freshness_ms
        late: list[Due] = []
        while self._waiting and self._waiting[0].moment_ms < oldest_ms:
            late.append(self._pop())
        self._settle(DispatchOutcome.LATE, late)

    def give_out(self, latest_ms: int) -> int | None:
        """Take the next batch of fresh ones; gives back the mark that it needs, None where nothing is fresh.

        Only while nothing is given out. It ends with one of `sent`, `refused` and `unconfirmed`.
        """
        oldest_ms = latest_ms - self._freshness_ms
        late: list[Due] = []
        while self._waiting and len(self._given_out) < BATCH_LINES:
            due = self._pop()
            (self._given_out if due.moment_ms >= oldest_ms else late).append(due)
        self._settle(DispatchOutcome.LATE, late)
        return self._given_out[-1].sequence if self._given_out else None

    def to_write(self, latest_ms: int | None) -> list[Due]:
        """What of the batch may be written now that its mark stands: nothing is where it is not known how late it is.

        Ask right before writing. What has become stale meanwhile is unconfirmed: its mark says that it was given out.
        """
        oldest_ms = None if latest_ms is None else latest_ms - self._freshness_ms
        stale = [due for due in self._given_out if oldest_ms is None or due.moment_ms < oldest_ms]
        self._given_out = [due for due in self._given_out if oldest_ms is not None and due.moment_ms >= oldest_ms]
        self._settle(DispatchOutcome.UNCONFIRMED, stale)
        return list(self._given_out)

    def sent(self, count: int) -> None:
        """The first `count` of what `to_write` gave were handed to the network; the others never will be."""
        batch, self._given_out = self._given_out, []
        self._settle(DispatchOutcome.SENT, batch[:count])
        self._settle(DispatchOutcome.UNCONFIRMED, batch[count:])

    def unconfirmed(self) -> None:
        """The mark of the batch was not answered, or nothing may be written any more."""
        self.sent(0)

    def refused(self) -> None:
        """The mark of the batch was refused: it waits again."""
        self._waiting.extendleft(reversed(self._given_out))
        self._octets += sum([len(due.line) for due in self._given_out])
        self._given_out = []

    def marked(self, handed_over: int, life: tuple[int, int]) -> None:
        """Another hub holds the lease, and its mark is seen to stand there. `life`: its epoch and beat.

        What stands under the mark is its to send. When it is seen to live after that, it has gone on from there.
        """
        if life != self._life:
            self._life = life
            self._settle_doubtful(DispatchOutcome.ELSEWHERE)
        self._mark, self._taken_over = max(self._mark, handed_over), False
        self._leave_to_others()

    def taken_over(self, handed_over: int) -> None:
        """This hub took the lease, at this mark: what another gave out last is unconfirmed."""
        self._mark, self._taken_over = max(self._mark, handed_over), True
        self._leave_to_others()

    def stop(self) -> None:
        """Nothing more is sent."""
        everything = [*self._doubtful, *self._waiting]
        self._waiting.clear()
        self._doubtful = []
        self._octets = 0
        self._settle(DispatchOutcome.STOPPED, everything)

    def _leave_to_others(self) -> None:
        while self._waiting and self._waiting[0].sequence <= self._mark:
            self._doubtful.append(self._pop())
        if self._taken_over:
            self._settle_doubtful(DispatchOutcome.UNCONFIRMED)

    def _settle_doubtful(self, outcome: DispatchOutcome) -> None:
        doubtful, self._doubtful = self._doubtful, []
        self._settle(outcome, doubtful)

    def _pop(self) -> Due:
        due = self._waiting.popleft()
        self._octets -= len(due.line)
        return due

    def _settle(self, outcome: DispatchOutcome, dues: Sequence[Due]) -> None:
        if dues:
            self.counts[outcome] += len(dues)
            self._report(outcome, dues)
