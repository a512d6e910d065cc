"""Who of the hubs sends: one key of the engine, changed by compare-and-set alone. No I/O, no clock.

How to think about it. The key holds a `Record`: who holds the lease, in which epoch, up to which message of the stream
frames were given out to be sent (`handed_over`), and a beat that grows with every write. Two things keep two hubs from
sending the same frame, and only the second of them is needed for that:

  - Time. The holder writes the key again every third of `lease`, and stops sending when no write *begun* within the
    last `lease` succeeded. Another hub takes the key only when it saw it unchanged for as long. Each asks its own
    monotonic clock. This keeps hubs from taking the lease from one another without need.
  - The mark. Before lines go to the network, the holder writes up to which message they go. A write names the revision
    that it replaces, so it fails once another hub has taken the key; and that hub begins behind the mark. Whoever was
    paused in between can at most still send what it alone had given out.

    phase       what it does                                          leads to
    STANDBY     looks at the key; where it may hold the lease, and    HOLDING, when that write succeeds
                nobody has it, or it stood unchanged for `lease`,
                writes itself into it, the epoch raised
    HOLDING     writes the mark and renews; looks at the key after    STANDBY, when the key is another's, or given up
                a write that was refused or not answered

A write that is not answered counts as done: it may yet be carried out. So its frames are never sent, and the next mark
is no lower. One thing is asked of the engine at a time: `next` says what, and one of `looked`, `wrote`, `refused` and
`unanswered` says how it went. Everything here is an immutable value: a test can walk through every order of events.
"""

from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Annotated

from pydantic import ConfigDict, Field, TypeAdapter, ValidationError
from pydantic.dataclasses import dataclass as checked_dataclass

MAXIMUM_RECORD_OCTETS = 1024
MAXIMUM_HOLDER = 64
HIGHEST_NUMBER = 2**53 - 1
RENEWALS_PER_LEASE = 3
LOOK_MS = 500
"""How often a standby looks at the key."""


class RecordError(ValueError):
    """What stands in the key is no record of ours; the text holds nothing of it."""


_Number = Annotated[int, Field(ge=0, le=HIGHEST_NUMBER)]


@checked_dataclass(frozen=True, slots=True, config=ConfigDict(strict=True, extra="forbid"))
class LeaseRecord:
    """What the key holds."""

    holder: Annotated[str, Field(max_length=MAXIMUM_HOLDER, pattern="^[ -~]*$")]
    """The hub that may send, and which start of it; empty where the last one gave the lease up."""

    epoch: _Number
    handed_over: _Number
    """Every frame up to this message of the stream was given out to be sent, or will never be."""

    beat: _Number

    def to_octets(self) -> bytes:
        """The value of the key."""
        return _records.dump_json(self)


_records = TypeAdapter(LeaseRecord)


def read_record(octets: bytes) -> LeaseRecord:
    """Read the value of the key. Raises `RecordError`."""
    if len(octets) > MAXIMUM_RECORD_OCTETS:
        raise RecordError("the record of the lease is too long")
    try:
        return _records.validate_json(octets)
    except ValidationError:
        raise RecordError("the record of the lease is not of our form") from None


@dataclass(frozen=True, slots=True)
class Look:
    """Ask for the key."""


@dataclass(frozen=True, slots=True)
class LeaseWrite:
    """Put this record in the place of that revision; 0: there is none yet."""

    revision: int
    record: LeaseRecord


@dataclass(frozen=True, slots=True)
class Wait:
    """There is nothing to ask until then, unless there is more to send."""

    until_ms: float


Request = Look | LeaseWrite | Wait


class LeasePhase(StrEnum):
    """Whether this hub sends."""

    STANDBY = "standby"
    HOLDING = "holding"


@dataclass(frozen=True, slots=True)
class KeySeen:
    """The key as it was seen last, and since when it was seen so, by this hub's monotonic clock."""

    revision: int
    record: LeaseRecord | None
    since_ms: float


@dataclass(frozen=True, slots=True)
class Lease:
    """One hub's part in it. Monotonic times in milliseconds."""

    me: str
    """This hub, and this start of it: one that was started again is another."""

    lease_ms: int
    phase: LeasePhase = LeasePhase.STANDBY
    last_key: KeySeen | None = None
    looked_ms: float | None = None
    """When the key was last asked for and the answer came."""

    pending: LeaseWrite | None = None
    """The write that is under way."""

    begun_ms: float = 0.0
    unsure: bool = False
    """A write of the holder was not answered: the key tells what became of it."""

    good_until_ms: float = 0.0
    """While HOLDING: until when this hub may send."""

    handed_over: int = 0
    """The highest mark that this hub ever wrote, or may have written."""

    def may_send(self, now_ms: float) -> bool:
        """Whether lines whose mark is written may go to the network now. To be asked right before each write."""
        return self.phase is LeasePhase.HOLDING and now_ms < self.good_until_ms

    @property
    def sure(self) -> bool:
        """Whether this hub holds the lease and knows what stands in the key: then it may write a mark."""
        return self.phase is LeasePhase.HOLDING and not self.unsure and self.last_key is not None

    def next(self, now_ms: float, *, able: bool, give_out: int | None = None, first_mark: int = 0) -> Request:
        """What to ask of the engine now.

        `able`: this hub could send if it held the lease. `give_out`: the message up to which the holder wants to send.
        `first_mark`: where the mark begins in a club that has none: what came before is never sent.
        """
        if self.phase is LeasePhase.HOLDING:
            return self._next_of_holder(now_ms, give_out)
        due_ms = 0.0 if self.looked_ms is None else self.looked_ms + LOOK_MS
        if now_ms >= due_ms or self.last_key is None:
            return Look()
        return (self._taking(now_ms, first_mark) if able else None) or Wait(due_ms)

    def giving_up(self) -> Request | None:
        """The write that leaves the lease to whoever comes first; None where this hub does not surely hold it."""
        if not self.sure or self.last_key is None or self.last_key.record is None:
            return None
        record = self.last_key.record
        return LeaseWrite(self.last_key.revision, replace(record, holder="", beat=record.beat + 1))

    def begin(self, request: Request, now_ms: float) -> "Lease":
        """What `next` said is asked of the engine now."""
        if not isinstance(request, LeaseWrite):
            return self
        return replace(
            self, pending=request, begun_ms=now_ms, handed_over=max(self.handed_over, request.record.handed_over)
        )

    def looked(self, revision: int, record: LeaseRecord | None, now_ms: float) -> "Lease":
        """The key stands so; revision 0 and no record: there is none."""
        since_ms = now_ms
        if self.last_key is not None and self.last_key.revision == revision:
            since_ms = self.last_key.since_ms
        after = replace(self, last_key=KeySeen(revision, record, since_ms), looked_ms=now_ms, unsure=False)
        mine = record is not None and record.holder == self.me
        return after if mine or self.phase is LeasePhase.STANDBY else _standing_by(after)

    def wrote(self, revision: int, now_ms: float) -> "Lease":
        """The write under way was carried out, as this revision."""
        if self.pending is None:
            return self
        record = self.pending.record
        after = replace(self, last_key=KeySeen(revision, record, now_ms), looked_ms=now_ms, pending=None)
        if record.holder != self.me:
            return _standing_by(after)
        return replace(
            after,
            phase=LeasePhase.HOLDING,
            good_until_ms=self.begun_ms + self.lease_ms,
            handed_over=max(self.handed_over, record.handed_over),
        )

    def refused(self) -> "Lease":
        """The write under way was not carried out, and never will be: the key has another revision.

        A holder looks: the other revision may be a write of its own that was not answered.
        """
        after = replace(self, pending=None, looked_ms=None)
        return replace(after, unsure=True) if self.phase is LeasePhase.HOLDING else after

    def unanswered(self) -> "Lease":
        """Nobody knows what became of the write under way; or the key could not be looked at."""
        after = replace(self, pending=None, looked_ms=None)
        return replace(after, unsure=True) if self.phase is LeasePhase.HOLDING and self.pending is not None else after

    def _next_of_holder(self, now_ms: float, give_out: int | None) -> Request:
        if self.unsure or self.last_key is None or self.last_key.record is None:
            return Look()
        renew_ms = self.good_until_ms - self.lease_ms + self.lease_ms / RENEWALS_PER_LEASE
        mark = max(self.handed_over, give_out or 0)
        if give_out is None and now_ms < renew_ms:
            return Wait(renew_ms)
        record = self.last_key.record
        return LeaseWrite(self.last_key.revision, replace(record, handed_over=mark, beat=record.beat + 1))

    def _taking(self, now_ms: float, first_mark: int) -> LeaseWrite | None:
        """The write that takes the lease; None while it is another's."""
        key = self.last_key
        if key is None:
            return None
        record = key.record
        if record is None:
            return LeaseWrite(key.revision, LeaseRecord(self.me, 1, max(first_mark, self.handed_over), 1))
        if record.holder not in ("", self.me) and now_ms - key.since_ms < self.lease_ms:
            return None  # where it stands there itself, its own write was not answered
        mark = max(record.handed_over, self.handed_over)
        return LeaseWrite(key.revision, LeaseRecord(self.me, record.epoch + 1, mark, record.beat + 1))


def _standing_by(lease: Lease) -> Lease:
    return replace(lease, phase=LeasePhase.STANDBY, pending=None, unsure=False, good_until_ms=0.0)
