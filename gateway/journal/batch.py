"""What is written at one go, and what waits for it: a bounded queue that sheds the oldest. No I/O, no clock."""

import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import NamedTuple

from gateway.bounded import BoundedMapping, SheddingQueue
from gateway.feed.heard_object import HeardPayload
from gateway.frames.plain import PlainObject


class Row(NamedTuple):
    """One frame, ready to be written."""

    sequence: int
    time_ms: int
    source: str | None
    reason: str | None
    encoded: bytes
    """Its heard object, as it is published."""


@dataclass(frozen=True, slots=True)
class PolicyTexts:
    """A policy that came into force."""

    label: str
    since_ms: int
    texts: Sequence[tuple[str, str]]
    """Name and text of each of its files, its own first."""


@dataclass(slots=True)
class Batch:
    """What is written at one go."""

    heard: deque[HeardPayload] = field(default_factory=deque)
    """The frames that are still to be encoded."""

    rows: list[Row] = field(default_factory=list)
    failed: int = 0
    """Frames of which no row could be made: a fault of the gateway's own, not of the air's or the disk's."""

    failure: str | None = None
    """What kind of error that was, the last time."""

    sent: dict[int, int] = field(default_factory=dict)
    """When the line of a frame was sent, in Unix milliseconds, by its sequence."""

    budgets: PlainObject | None = None
    saved_ms: int = 0
    """When they were so, in Unix milliseconds."""

    policies: list[PolicyTexts] = field(default_factory=list)

    def __len__(self) -> int:
        """How many frames it holds."""
        return len(self.heard) + len(self.rows) + self.failed

    def encode(self, seconds: float) -> bool:
        """Make rows of the frames, for about so long; returns whether there are more to make."""
        until = time.perf_counter() + seconds
        while self.heard:
            try:
                self.rows.append(_row(self.heard.popleft()))
            except Exception as error:  # noqa: BLE001 - one frame that cannot be encoded must not end the journal
                self.failed += 1
                self.failure = type(error).__name__
            if time.perf_counter() >= until:
                break
        return bool(self.heard)


def _row(payload: HeardPayload) -> Row:
    judged = payload.judged
    heard, innermost, reason = judged.heard, judged.innermost, judged.verdict.reason
    return Row(
        heard.sequence,
        heard.moment.time_ms,
        None if innermost is None else innermost.source,
        None if reason is None else reason.value,
        payload.encoded(),
    )


class Waiting:
    """Everything that waits to be written. Offering is cheap and always succeeds."""

    MAXIMUM_POLICIES = 16
    """Nobody reloads more often while a disk is away; beyond it the oldest are left out."""

    def __init__(self, limit: int) -> None:
        """`limit`: how many frames may wait."""
        self.shed_heard = 0
        self.shed_sent = 0
        self._heard = SheddingQueue[HeardPayload](limit)
        self._sent = BoundedMapping[int, int](limit, self._shed_one_sent)
        self._budgets: PlainObject | None = None
        self._saved_ms = 0
        self._policies: deque[PolicyTexts] = deque(maxlen=self.MAXIMUM_POLICIES)

    def __len__(self) -> int:
        """How many frames wait."""
        return len(self._heard)

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits, frame or other."""
        return not (self._heard or self._sent or self._policies or self._budgets is not None)

    def offer_heard(self, payload: HeardPayload) -> None:
        """A frame was heard."""
        self.shed_heard += self._heard.offer(payload)

    def offer_sent(self, sequence: int, sent_at_ms: int) -> None:
        """The line of that frame was sent."""
        self._sent[sequence] = sent_at_ms

    def offer_budgets(self, budgets: PlainObject, saved_ms: int) -> None:
        """What is used of the budgets at that Unix time in milliseconds; only the newest is kept."""
        self._budgets, self._saved_ms = budgets, saved_ms

    def offer_policy(self, policy: PolicyTexts) -> None:
        """A policy came into force."""
        self._policies.append(policy)

    def take(self, most: int) -> Batch:
        """The oldest frames, `most` at most, with all that belongs to them, and whatever else waits."""
        batch = Batch(budgets=self._budgets, saved_ms=self._saved_ms, policies=list(self._policies))
        self._budgets = None
        self._policies.clear()
        batch.heard.extend(islice(self._heard, most))
        for _ in range(len(batch.heard)):
            self._heard.popleft()
        self._take_sent(batch)
        return batch

    def shed_all(self) -> None:
        """Nothing is written any more."""
        self.shed_heard += len(self._heard)
        self.shed_sent += len(self._sent)
        self._heard.clear()
        self._sent.clear()
        self._policies.clear()
        self._budgets = None

    def _shed_one_sent(self, _sequence: int) -> None:
        self.shed_sent += 1

    def _take_sent(self, batch: Batch) -> None:
        """A frame may be said to be sent before it is offered itself: then its time waits until it is."""
        first_waiting = self._heard[0].judged.heard.sequence if self._heard else None
        for sequence in list(self._sent):
            if first_waiting is None or sequence < first_waiting:
                batch.sent[sequence] = self._sent.pop(sequence)
