"""Which lines go, when, and what becomes of the others: every decision of the uplink about a line. No I/O, no clock.

At every moment offered = sent + late + dropped + stopped + refused + waiting. What was handed over is never handed over
again, to no connection; what is handed over was heard no longer than `freshness` ago; what is unacknowledged for longer
than that ends its connection.
"""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Generic

from gateway.uplink.outbox import AnyDeparture, LineOutbox, Outcome, Report

if TYPE_CHECKING:
    from gateway.uplink.connection import Connection

BATCH_OCTETS = 4096
"""About how much goes into one write, so that little is left over when the kernel takes only a part."""


class Crossing(Generic[AnyDeparture]):
    """The lines that are to go up, and the connection over which they may."""

    def __init__(
        self, *, freshness_ms: int, limit_octets: int, receive_only: bool, report: Report[AnyDeparture]
    ) -> None:
        """`report` is told of every outcome but `sent`, which is given back to whoever made it so."""
        self.outbox = LineOutbox[AnyDeparture](freshness_ms=freshness_ms, limit_octets=limit_octets, report=report)
        self.connection: Connection | None = None
        """The one that stands; who makes connections sets it."""

        self._freshness_ms = freshness_ms
        self._receive_only = receive_only
        self._is_stopped = False

    @property
    def refuses(self) -> bool:
        """Whether nothing is taken from us: lines are `refused`, they do not wait."""
        return self._receive_only or (
            self.connection is not None and self.connection.refuses and not self.connection.reason
        )

    def offer(self, departures: Sequence[AnyDeparture], now_ms: int) -> Sequence[AnyDeparture]:
        """Send them now where that can be, else let them wait; gives back what was sent, of these or of older ones."""
        outbox = self.outbox
        outbox.put(departures)
        if self._is_stopped:
            outbox.give_up(Outcome.STOPPED)
        elif self.refuses:
            outbox.give_up(Outcome.REFUSED)
        else:
            sent = self.send_what_waits(now_ms)
            outbox.trim()
            return sent
        return ()

    def send_what_waits(self, now_ms: int) -> Sequence[AnyDeparture]:
        """Hand over what is fresh, for as long as the kernel takes it whole; gives back what was handed over."""
        connection, outbox = self.connection, self.outbox
        if connection is None or not connection.is_writable(now_ms):
            return ()
        sent: list[AnyDeparture] = []
        outbox.expire(now_ms)
        while outbox.waiting and connection.is_writable(now_ms):
            batch = outbox.take_fresh(now_ms, BATCH_OCTETS)
            if batch:
                connection.write(b"".join([departure.line for departure in batch]), now_ms)
                outbox.sent(batch)
                sent += batch
            else:  # one that was heard long before its neighbours stands at the head
                outbox.expire(now_ms)
        return sent

    def send_now(self, lines: Sequence[bytes], now_ms: int) -> int:
        """Hand over whole lines that somebody else keeps; gives back how many, from the first on.

        What the kernel does not take whole at once is not taken at all, but for the rest of one write.
        """
        connection, count = self.connection, 0
        while count < len(lines) and connection is not None and connection.is_writable(now_ms):
            batch, octets = count, 0
            while count < len(lines) and octets < BATCH_OCTETS:
                octets += len(lines[count])
                count += 1
            connection.write(b"".join(lines[batch:count]), now_ms)
        return count

    def give_up_refused(self) -> None:
        """The server does not accept the login: what waits will not be taken either."""
        if self.refuses:
            self.outbox.give_up(Outcome.REFUSED)

    def look(self, now_ms: int) -> int | None:
        """Let go of what is stale, wherever it is. Gives back when the next thing is due; None: nothing is."""
        self.outbox.expire(now_ms)
        connection = self.connection
        oldest_ms = None if connection is None else connection.oldest_in_flight_ms()
        if connection is not None and oldest_ms is not None and now_ms - oldest_ms > self._freshness_ms:
            connection.end(f"the server acknowledged nothing for {self._freshness_ms / 1000:g} s")
            oldest_ms = None
        due_ms = [] if oldest_ms is None else [oldest_ms + self._freshness_ms + 1]
        if self.outbox.expires_ms is not None:
            due_ms.append(self.outbox.expires_ms)
        return min(due_ms, default=None)

    def is_getting_through(self) -> bool:
        """Whether it is worth waiting for what still goes."""
        connection = self.connection
        return connection is not None and (self.outbox.waiting > 0 or connection.oldest_in_flight_ms() is not None)

    def stop(self) -> None:
        """Nothing is sent from here on: what waits, and what is offered later, is `stopped`."""
        self._is_stopped = True
        self.connection = None
        self.outbox.give_up(Outcome.STOPPED)
