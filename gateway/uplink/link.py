"""One connection to a server, as an `asyncio.Protocol`: it carries a `Session` and knows what is in flight."""

import asyncio
import time
from collections.abc import Callable
from typing import cast

from gateway.uplink import tcp
from gateway.uplink.in_flight import InFlight
from gateway.uplink.reading_budget import ReadingBudget
from gateway.uplink.session import Event, Session

REVIEW_EVERY_WRITES = 64
"""How many writes may pile up in `InFlight` before it is told what was acknowledged."""


class Link(asyncio.Protocol):
    """From connection to connection's end. It ends once, for one reason; `ended` is set as its socket closes.

    Whatever ends it, the connection is reset: what the kernel still holds is thrown away, never delivered late. `close`
    alone, which is for a stop with nothing in flight, says an orderly goodbye.
    """

    def __init__(
        self,
        session: Session,
        *,
        clock: Callable[[], int],
        on_event: Callable[[Event], None],
        on_writable: Callable[[], None],
    ) -> None:
        self.session = session
        self.ended = asyncio.Event()

        self.reason = ""
        """Why it ended, in plain words."""

        self.unconfirmed = 0
        """Once it has ended: lines that were handed over, of which nobody knows whether they arrived."""

        self._clock = clock
        self._on_event = on_event
        self._on_writable = on_writable
        self._in_flight = InFlight()
        self._transport: asyncio.Transport | None = None
        self._socket: tcp.Socket | None = None
        self._paused = False
        self._held = 0  # octets that the transport kept at the last write: it forgets them before it says that it broke
        self._deadline: asyncio.TimerHandle | None = None
        self._budget = ReadingBudget(time.monotonic())
        self._resting: asyncio.TimerHandle | None = None

    @property
    def writable(self) -> bool:
        """Whether a line can be handed over now, and would go straight to the kernel."""
        return (
            self.session.may_send
            and not self._paused
            and not self.session.is_mute(self._clock())
            and self._transport is not None
            and not self._transport.is_closing()
        )

    @property
    def octets_sent(self) -> int:
        """All octets handed over, the login line included."""
        return self._in_flight.octets

    @property
    def carried_lines(self) -> bool:
        """Whether it was handed any line beside the login."""
        return self._in_flight.carried_lines

    def write(self, lines: bytes, now_ms: int) -> None:
        """Hand over whole lines. Only while it is `writable`."""
        transport = cast("asyncio.Transport", self._transport)
        transport.write(lines)
        self._held = transport.get_write_buffer_size() if self._paused else 0
        self._in_flight.handed_over(lines, now_ms)
        if self._in_flight.writes >= REVIEW_EVERY_WRITES and not self._in_flight.writes % REVIEW_EVERY_WRITES:
            self.oldest_in_flight_ms()

    def oldest_in_flight_ms(self) -> int | None:
        """When the oldest unacknowledged octet was handed over; None where there is none, or it has ended."""
        if self._transport is None or self.reason:
            return None
        self._review(self._transport.get_write_buffer_size())
        return self._in_flight.since_ms

    def end(self, reason: str) -> None:
        """Reset the connection now."""
        if self.reason:
            return
        self.reason = reason
        if self._transport is None or self._socket is None:
            self.ended.set()
            return
        self._review(self._transport.get_write_buffer_size())
        self.unconfirmed = self._in_flight.lines
        tcp.reset_when_closed(self._socket)
        self._transport.abort()

    def close(self, reason: str) -> None:
        """End the connection in good order: for when nothing is in flight."""
        if not self.reason and self._transport is not None:
            self.reason = reason
            self._transport.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The connection stands: wait for the greeting."""
        self._transport = cast("asyncio.Transport", transport)
        self._transport.set_write_buffer_limits(high=0)
        self._socket = self._transport.get_extra_info("socket")
        self._watch_deadline()

    def data_received(self, data: bytes) -> None:
        """The server said something: take it, and rest where that took long."""
        began = time.thread_time()
        self._take(data)
        now = time.monotonic()
        rest = self._budget.spend(time.thread_time() - began, now)
        if self._budget.is_flooded(now):
            self.end("the server sends more than a gateway may spend time on")
        elif rest and self._transport is not None and not self._transport.is_closing():
            self._transport.pause_reading()
            self._resting = asyncio.get_running_loop().call_later(rest, self._transport.resume_reading)

    def _take(self, data: bytes) -> None:
        now_ms = self._clock()
        was_mute = self.session.is_mute(now_ms)
        events = self.session.receive(data, now_ms)
        octets = self.session.take_to_send()
        if octets and self._transport is not None:
            self._transport.write(octets)
            self._in_flight.handed_over_login(len(octets))
        for event in events:
            self._on_event(event)
        if events:
            self._watch_deadline()
        if was_mute:
            self._on_writable()

    def eof_received(self) -> None:
        """A server that will say nothing more gives no heartbeat either."""
        self.end("the server closed the connection")

    def pause_writing(self) -> None:
        """The kernel takes no more for now."""
        self._paused = True

    def resume_writing(self) -> None:
        """Everything that was handed over is in the kernel."""
        self._paused = False
        self._held = 0
        self._on_writable()

    def connection_lost(self, error: Exception | None) -> None:
        """The connection is over, by our will or not; the socket is closed right after this."""
        for timer in (self._deadline, self._resting):
            if timer is not None:
                timer.cancel()
        if not self.reason:
            self._review(self._held)
            self.unconfirmed = self._in_flight.lines
            self.reason = f"the connection broke: {_in_words(error)}"
        self.ended.set()

    def _review(self, held_octets: int) -> None:
        if self._socket is not None:
            self._in_flight.review(held_octets + tcp.unacknowledged_octets(self._socket))

    def _watch_deadline(self) -> None:
        """Look again when the session would be overdue: a heartbeat until then only puts that off."""
        if self._deadline is not None:
            self._deadline.cancel()
        now_ms = self._clock()
        overdue = self.session.overdue(now_ms)
        if overdue is not None:
            self.end(overdue)
            return
        seconds = max(1, self.session.deadline_ms - now_ms) / 1000
        self._deadline = asyncio.get_running_loop().call_later(seconds, self._watch_deadline)


def _in_words(error: Exception | None) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return type(error).__name__ if error is not None else "closed"
