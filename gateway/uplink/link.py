"""One connection to a server on an `asyncio.Transport`: the I/O of a `Connection`, which decides what it does."""

import asyncio
import time
from collections.abc import Callable
from typing import cast

from gateway.uplink import tcp
from gateway.uplink.connection import Connection
from gateway.uplink.reading_budget import ReadingBudget
from gateway.uplink.session import Event, Session

READ_OCTETS = 16_384
"""The most that is read at a time: whatever a server sends, one read holds the loop for a few milliseconds at most."""

WAKING_SECONDS = 0.000_1
"""What the event loop itself spends on one read, about: it counts, too, lest single octets cost nothing."""


class Link(asyncio.BufferedProtocol):
    """From connection to connection's end. `ended` is set as its socket closes.

    Whatever ends it, the connection is reset: what the kernel still holds is thrown away, never delivered late. `close`
    alone, which is for a stop with nothing in flight, says an orderly goodbye. It is the connection's own wire.
    """

    def __init__(
        self,
        session: Session,
        *,
        clock: Callable[[], int],
        on_event: Callable[[Event], None],
        on_writable: Callable[[], None],
    ) -> None:
        self.connection = Connection(session, self)
        self.ended = asyncio.Event()
        self._clock = clock
        self._on_event = on_event
        self._on_writable = on_writable
        self._transport: asyncio.Transport | None = None
        self._socket: tcp.Socket | None = None
        self._paused = False
        self._lost = False
        self._held = 0  # octets that the transport kept at the last write: it forgets them before it says that it broke
        self._deadline: asyncio.TimerHandle | None = None
        self._read = memoryview(bytearray(READ_OCTETS))
        self._reading_since = 0.0  # in seconds of this thread's own processor time
        self._budget = ReadingBudget(time.monotonic())
        self._resting: asyncio.TimerHandle | None = None

    @property
    def takes_more(self) -> bool:
        """Whether what is written now would go straight to the kernel."""
        return not self._paused and self._transport is not None and not self._transport.is_closing()

    def write(self, octets: bytes) -> None:
        """Hand them to the transport."""
        transport = cast("asyncio.Transport", self._transport)
        transport.write(octets)
        self._held = transport.get_write_buffer_size() if self._paused else 0

    def outstanding(self) -> int:
        """What the transport keeps, and what the kernel holds unacknowledged."""
        if self._transport is None or self._socket is None:
            return 0
        held = self._held if self._lost else self._transport.get_write_buffer_size()
        return held + tcp.unacknowledged_octets(self._socket)

    def cut(self) -> None:
        """Reset the connection now."""
        if self._transport is None or self._socket is None:
            self.ended.set()
            return
        tcp.reset_when_closed(self._socket)
        self._transport.abort()

    def close(self, reason: str) -> None:
        """End the connection in good order: for when nothing is in flight."""
        if not self.connection.reason and self._transport is not None:
            self.connection.close(reason)
            self._transport.close()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """The connection stands: wait for the greeting."""
        self._transport = cast("asyncio.Transport", transport)
        self._transport.set_write_buffer_limits(high=0)
        self._socket = self._transport.get_extra_info("socket")
        self._watch_deadline()

    def get_buffer(self, sizehint: int) -> memoryview:  # noqa: ARG002 - asyncio's form
        """Where the octets go that are read now: reading them counts as well."""
        self._reading_since = time.thread_time()
        return self._read

    def buffer_updated(self, nbytes: int) -> None:
        """The server said something: take it, and rest where that took long."""
        self._take(bytes(self._read[:nbytes]))
        now = time.monotonic()
        rest = self._budget.spend(time.thread_time() - self._reading_since + WAKING_SECONDS, now)
        if self._budget.is_flooded(now):
            self.connection.end("the server sends more than a gateway may spend time on")
        elif rest and self._transport is not None and not self._transport.is_closing():
            self._transport.pause_reading()
            self._resting = asyncio.get_running_loop().call_later(rest, self._transport.resume_reading)

    def _take(self, data: bytes) -> None:
        now_ms = self._clock()
        was_mute = self.connection.session.is_mute(now_ms)
        events = self.connection.receive(data, now_ms)
        for event in events:
            self._on_event(event)
        if events:
            self._watch_deadline()
        if was_mute:
            self._on_writable()

    def eof_received(self) -> None:
        """A server that will say nothing more gives no heartbeat either."""
        self.connection.end("the server closed the connection")

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
        self._lost = True
        self.connection.broke(f"the connection broke: {_in_words(error)}")
        self.ended.set()

    def _watch_deadline(self) -> None:
        """Look again when the session would be overdue: a heartbeat until then only puts that off."""
        if self._deadline is not None:
            self._deadline.cancel()
        now_ms = self._clock()
        session = self.connection.session
        overdue = session.overdue(now_ms)
        if overdue is not None:
            self.connection.end(overdue)
            return
        seconds = max(1, session.deadline_ms - now_ms) / 1000
        self._deadline = asyncio.get_running_loop().call_later(seconds, self._watch_deadline)


def _in_words(error: Exception | None) -> str:
    if isinstance(error, OSError) and error.strerror:
        return error.strerror
    return type(error).__name__ if error is not None else "closed"
