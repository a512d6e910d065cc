"""One connection to a server, without its socket: what may be written, what is in flight, why it ended. No clock.

It ends once, for one reason. Whatever was in flight then is unconfirmed.
"""

from typing import Protocol

from gateway.uplink.in_flight import InFlight
from gateway.uplink.session import Event, Session

REVIEW_EVERY_WRITES = 64
"""How many writes may pile up in `InFlight` before it is told what was acknowledged."""


class Wire(Protocol):
    """What carries the octets: a socket with its buffers."""

    @property
    def takes_more(self) -> bool:
        """Whether it stands, and what is written now would go straight to the kernel."""

    def write(self, octets: bytes) -> None:
        """Hand them over; what the kernel does not take is kept."""

    def outstanding(self) -> int:
        """How many octets of those handed over the other end has not acknowledged, kept ones included."""

    def cut(self) -> None:
        """Reset it: what is outstanding is thrown away, never delivered late."""


class Connection:
    """From the moment that a socket stands until it ends."""

    def __init__(self, session: Session, wire: Wire) -> None:
        self.session = session

        self.reason = ""
        """Why it ended, in plain words; empty while it lasts."""

        self.unconfirmed = 0
        """Once it has ended: lines that were handed over, of which nobody knows whether they arrived."""

        self._wire = wire
        self._in_flight = InFlight()

    @property
    def octets_sent(self) -> int:
        """All octets handed over, the login line included."""
        return self._in_flight.octets

    @property
    def carried_lines(self) -> bool:
        """Whether it was handed any line beside the login."""
        return self._in_flight.carried_lines

    @property
    def refuses(self) -> bool:
        """Whether the server has answered the login, and takes nothing."""
        return self.session.answered and not self.session.may_send

    def is_writable(self, now_ms: int) -> bool:
        """Whether a line can be handed over now, and would go straight to the kernel."""
        session = self.session
        return session.may_send and self._wire.takes_more and not self.reason and not session.is_mute(now_ms)

    def write(self, lines: bytes, now_ms: int) -> None:
        """Hand over whole lines. Only while it is writable."""
        self._wire.write(lines)
        self._in_flight.handed_over(lines, now_ms)
        if self._in_flight.writes >= REVIEW_EVERY_WRITES and not self._in_flight.writes % REVIEW_EVERY_WRITES:
            self.oldest_in_flight_ms()

    def receive(self, data: bytes, now_ms: int) -> list[Event]:
        """Take what the server said, and answer it where the protocol wants that."""
        events = self.session.receive(data, now_ms)
        octets = self.session.take_to_send()
        if octets and not self.reason:
            self._wire.write(octets)
            self._in_flight.handed_over_login(len(octets))
        return events

    def oldest_in_flight_ms(self) -> int | None:
        """When the oldest unacknowledged octet was handed over; None where there is none, or it has ended."""
        if self.reason:
            return None
        self._in_flight.review(self._wire.outstanding())
        return self._in_flight.since_ms

    def end(self, reason: str) -> None:
        """Reset it now."""
        if not self.reason:
            self.broke(reason)
            self._wire.cut()

    def close(self, reason: str) -> None:
        """It ends in good order, with nothing in flight: whoever says so closes the socket."""
        self.reason = self.reason or reason

    def broke(self, reason: str) -> None:
        """It has ended, by no will of ours."""
        if not self.reason:
            self._in_flight.review(self._wire.outstanding())
            self.unconfirmed = self._in_flight.lines
            self.reason = reason
