"""One hub's sending: the lease and what waits to be sent, as one machine that its shell only carries out. No I/O.

The shell asks `next` what to do, does it, and says how it went. After `wrote` it asks `to_write`, hands that to the
network at once, and says with `sent` how much of it went. A test walks two of these through every order of events.
"""

from dataclasses import dataclass

from gateway.club.dispatch import Dispatch, Due
from gateway.club.lease import Lease, LeasePhase, LeaseRecord, Request


@dataclass(frozen=True, slots=True)
class SenderMoment:
    """What a hub knows when it is asked what to do."""

    monotonic_ms: float
    latest_ms: int | None
    """The latest that it can be in stream time; None where that is not known: nothing is sent then."""

    able: bool = True
    """It could hold the lease: it knows the stream, judges as the club does, and its login is verified."""

    writable: bool = True
    """The network's connection takes lines now."""

    read: int = 0
    """The last message of the stream that it has judged."""


class Sender:
    """The lease and the dispatch of one hub."""

    def __init__(self, me: str, lease_ms: int, dispatch: Dispatch) -> None:
        self.lease = Lease(me, lease_ms)
        self.dispatch = dispatch
        self.taken = 0

    def next(self, now: SenderMoment) -> Request:
        """What to ask of the engine; it counts as asked."""
        if now.latest_ms is not None:
            self.dispatch.expire(now.latest_ms)
        mark = None
        if self.lease.sure and now.able and now.writable and now.latest_ms is not None:
            mark = self.dispatch.give_out(now.latest_ms)
        request = self.lease.next(now.monotonic_ms, able=now.able, give_out=mark, first_mark=now.read)
        self.lease = self.lease.begin(request, now.monotonic_ms)
        return request

    def give_up(self, now: SenderMoment) -> Request | None:
        """What to ask of the engine so that another hub may send at once; None where there is nothing to give up."""
        request = self.lease.giving_up()
        if request is not None:
            self.lease = self.lease.begin(request, now.monotonic_ms)
        return request

    def looked(self, revision: int, record: LeaseRecord | None, now: SenderMoment) -> None:
        """The key stands so."""
        self.lease = self.lease.looked(revision, record, now.monotonic_ms)
        if record is not None and record.holder != self.lease.me:
            self.dispatch.marked(record.handed_over, (record.epoch, record.beat))

    def wrote(self, revision: int, now: SenderMoment) -> None:
        """The write was carried out: with a mark in it, `to_write` has its lines."""
        before = self.lease.phase
        self.lease = self.lease.wrote(revision, now.monotonic_ms)
        if before is LeasePhase.STANDBY and self.lease.phase is LeasePhase.HOLDING:
            self.taken += 1
            self.dispatch.taken_over(self.lease.handed_over)

    def refused(self) -> None:
        """The write was refused, and never will be carried out."""
        self.lease = self.lease.refused()
        self.dispatch.refused()

    def unanswered(self) -> None:
        """Nobody knows what became of the write, or the key could not be looked at."""
        self.lease = self.lease.unanswered()
        self.dispatch.unconfirmed()

    def to_write(self, now: SenderMoment) -> list[Due]:
        """What is to be handed to the network at this very moment."""
        if not (self.lease.may_send(now.monotonic_ms) and now.writable):
            self.dispatch.unconfirmed()
            return []
        return self.dispatch.to_write(now.latest_ms)

    def sent(self, count: int) -> None:
        """The first `count` of them were."""
        self.dispatch.sent(count)
