"""What is written at one go, and what waits for it: a bounded queue that sheds the oldest. No I/O, no clock."""

import time
from collections import deque
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from typing import Any, NamedTuple

from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.stations import is_direct
from gateway.frames.heard import Place
from gateway.groundwork.bounded import BoundedMapping, SheddingQueue
from gateway.history.distances import place_that_counts
from gateway.judge.verdict import Judged


class Row(NamedTuple):
    """One frame, ready to be written."""

    sequence: int
    time_ms: int
    source: str | None
    reason: str | None
    encoded: bytes
    """Its heard object, as it is published."""

    is_direct: bool = False
    """Whether its station's own transmission was heard."""

    place: Place | None = None
    """Where its station says to be, if that counts for the reach of the antenna."""

    heard_at: Place | None = None
    """Where the post of a club is that heard it; None: it was heard here."""

    post: str = ""
    """The post of a club that heard it; empty: it was heard here."""


@dataclass(frozen=True, slots=True)
class PolicyTexts:
    """A policy that came into force."""

    label: str
    since_ms: int
    texts: Sequence[tuple[str, str]]
    """Name and text of each of its files, its own first."""


@dataclass(slots=True)
class Dump:
    """What one memory gave out to be kept over a restart."""

    name: str
    version: int
    heard: int
    """The sequence of the last frame that is in it for sure."""

    changed: bool = True
    """False: nothing has changed since it was dumped last, so there are no pieces."""

    pieces: deque[Mapping[str, Any]] = field(default_factory=deque)
    """Those that are still to be encoded."""

    encoded: list[bytes] = field(default_factory=list)


@dataclass(slots=True)
class Batch:
    """What is written at one go."""

    heard: deque[HeardPayload] = field(default_factory=deque)
    """The frames that are still to be encoded."""

    rows: list[Row] = field(default_factory=list)
    failed: int = 0
    """Frames of which no row could be made: a fault of the gateway's own, not of the air's or the disk's."""

    failure: str | None = None
    sent: dict[int, int] = field(default_factory=dict)
    """When the line of a frame was sent, in Unix milliseconds, by its sequence."""

    policies: list[PolicyTexts] = field(default_factory=list)
    dumps: dict[str, Dump] = field(default_factory=dict)
    """Of each memory the newest, by its name."""

    beginning: Dump | None = None
    """What the judge remembered when the run began."""

    settles: bool = False
    """Whether this, and all that was written before it, must now outlast a loss of power, too."""

    may_wait: bool = False
    """Whether it may do so anywhere: it need not be worked into its place yet. Whoever writes it says if it was."""

    def __len__(self) -> int:
        """How many frames it holds."""
        return len(self.heard) + len(self.rows) + self.failed

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing in it to be written."""
        return self.is_air_only and not (len(self) or self.sent)

    @property
    def is_air_only(self) -> bool:
        """Whether it holds nothing but what was heard, and when it was sent."""
        return not (self.policies or self.dumps or self.beginning)

    def add(self, other: "Batch") -> None:
        """Hold what another one brings, too."""
        self.rows += other.rows
        self.sent |= other.sent
        self.policies += other.policies
        for dump in other.dumps.values():
            self.put_dump(dump)
        self.beginning = other.beginning or self.beginning

    def put_dump(self, dump: Dump) -> None:
        """Let it take the place of the one before it, unless it says that nothing has changed since that one."""
        before = self.dumps.get(dump.name)
        if before is None or dump.changed:
            self.dumps[dump.name] = dump
        else:
            before.heard = dump.heard

    def encode(self, seconds: float) -> bool:
        """Make octets of what it holds, for about so long; returns whether there is more to make."""
        until = time.perf_counter() + seconds
        while self._has_more():
            is_frame = bool(self.heard)
            try:
                self._encode_one()
            except Exception as error:  # noqa: BLE001 - what cannot be encoded must not end the journal
                self.failed += is_frame
                self.failure = type(error).__name__
            if time.perf_counter() >= until:
                break
        return self._has_more()

    def _has_more(self) -> bool:
        return bool(self.heard or any(dump.pieces for dump in self._dumped()))

    def _dumped(self) -> list[Dump]:
        return [*filter(None, [self.beginning]), *self.dumps.values()]

    def _encode_one(self) -> None:
        if self.heard:
            payload = self.heard.popleft()
            self.rows.append(row_of(payload.judged, payload.encoded()))
        else:
            dump = next(dump for dump in self._dumped() if dump.pieces)
            dump.encoded.append(encode(dump.pieces.popleft()))


def row_of(judged: Judged, encoded: bytes) -> Row:
    """A frame as it is written; `encoded` is its heard object."""
    heard, innermost, reason = judged.heard, judged.innermost, judged.verdict.reason
    return Row(
        heard.sequence,
        heard.moment.time_ms,
        None if innermost is None else innermost.source,
        None if reason is None else reason.value,
        encoded,
        is_direct(judged),
        place_that_counts(judged),
        heard.place,
        heard.post,
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
        self._next = Batch()
        """Holds what is no frame, and goes with the next frames."""

    def __len__(self) -> int:
        """How many frames wait."""
        return len(self._heard)

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits, frame or other."""
        return self._next.is_empty and not (self._heard or self._sent)

    def offer_heard(self, payload: HeardPayload) -> None:
        """A frame was heard."""
        self.shed_heard += self._heard.offer(payload)

    def offer_sent(self, sequence: int, sent_at_ms: int) -> None:
        """The line of that frame was sent."""
        self._sent[sequence] = sent_at_ms

    def offer_policy(self, policy: PolicyTexts) -> None:
        """A policy came into force."""
        self._next.policies.append(policy)
        del self._next.policies[: -self.MAXIMUM_POLICIES]

    def offer_dump(self, dump: Dump) -> None:
        """A memory was dumped; only the newest dump of each is kept."""
        self._next.put_dump(dump)

    def offer_beginning(self, beginning: Dump) -> None:
        """What the judge remembered when the run began."""
        self._next.beginning = beginning

    def take(self, most: int) -> Batch:
        """The oldest frames, `most` at most, with all that belongs to them, and whatever else waits."""
        batch, self._next = self._next, Batch()
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
        self._next = Batch()

    def _shed_one_sent(self, _sequence: int) -> None:
        self.shed_sent += 1

    def _take_sent(self, batch: Batch) -> None:
        """A frame may be said to be sent before it is offered itself: then its time waits until it is."""
        first_waiting = self._heard[0].judged.heard.sequence if self._heard else None
        for sequence in list(self._sent):
            if first_waiting is None or sequence < first_waiting:
                batch.sent[sequence] = self._sent.pop(sequence)
