"""The whole of the uplink's decisions in a world without sockets: what happens, one event after another, and what must
hold after each of them. Time passes only when an event says so.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from gateway.uplink.connection import Connection
from gateway.uplink.crossing import Crossing
from gateway.uplink.outbox import Outcome
from gateway.uplink.session import Login, LoginAnswered, Session
from tests.uplink.posting import CALLSIGN, PASSCODE, Ticket

FRESHNESS_MS = 10_000
STEP_MS = 6_000
"""What an event of passing time takes: a line is stale after two."""

KERNEL_OCTETS = 80
"""What the world's kernel takes: a login and a line, and whatever is written with what fills it."""

QUEUE_OCTETS = 70
"""Two lines."""


@dataclass
class WorldsWire:
    """A socket with a small buffer, and a far end that acknowledges when an event says so."""

    written: list[bytes] = field(default_factory=list)
    unacknowledged: int = 0
    is_cut: bool = False

    @property
    def takes_more(self) -> bool:
        return not self.is_cut and self.unacknowledged <= KERNEL_OCTETS

    def write(self, octets: bytes) -> None:
        assert self.takes_more, "written to a connection that has ended, or takes no more"
        self.written.append(octets)
        self.unacknowledged += len(octets)

    def outstanding(self) -> int:
        return self.unacknowledged

    def cut(self) -> None:
        self.is_cut = True


class World:
    """Give it events; `check` says whether all holds."""

    def __init__(self, passcode: int | None = PASSCODE) -> None:
        self.now_ms = 0
        self.tickets: list[Ticket] = []
        self.ends: dict[object, Outcome] = {}
        self.is_stopped = False
        self.wires: list[WorldsWire] = []
        self.past: list[Connection] = []
        self._login = Login(CALLSIGN, passcode, "")
        self._wire: WorldsWire | None = None
        self.crossing = Crossing[Ticket](
            freshness_ms=FRESHNESS_MS, limit_octets=QUEUE_OCTETS, receive_only=passcode is None, report=self._end
        )

    @property
    def connection(self) -> Connection | None:
        return self.crossing.connection

    def connect(self) -> bool:
        """Each event gives back whether it could happen: where it could not, nothing has changed."""
        if self.connection is not None or self.is_stopped:
            return False
        self._wire = WorldsWire()
        self.wires.append(self._wire)
        session = Session(self._login, opened_ms=self.now_ms, login_ms=10_000, silence_ms=30_000, unverified_ms=20_000)
        self.crossing.connection = Connection(session, self._wire)
        return True

    def greet(self) -> bool:
        """It is a heartbeat, too, once the login was answered."""
        return self._say(b"# software 1.2\r\n")

    def verify(self) -> bool:
        return self._say(b"# logresp %b verified, server QN1NET\r\n" % CALLSIGN.encode())

    def refuse(self) -> bool:
        return self._say(b"# logresp %b unverified, server QN1NET\r\n" % CALLSIGN.encode())

    def offer(self) -> bool:
        """One heard just now and, in turn, one that was heard before others that went already."""
        number = len(self.tickets)
        age_ms = STEP_MS if number % 3 == 1 else 0
        ticket = Ticket(b"QA1BCD>APRS,qAO,QX1GAT-10:>%04d\r\n" % number, self.now_ms - age_ms, number)
        self.tickets.append(ticket)
        self._sent(self.crossing.offer([ticket], self.now_ms))
        return True

    def acknowledge(self) -> bool:
        if self._wire is None or not self._wire.unacknowledged or self._wire.is_cut:
            return False
        self._wire.unacknowledged = 0
        self._sent(self.crossing.send_what_waits(self.now_ms))
        return True

    def time_passes(self) -> bool:
        self.now_ms += STEP_MS
        connection, all_is_acknowledged = self.connection, self._wire is None or not self._wire.unacknowledged
        due_ms = self.crossing.look(self.now_ms)
        assert due_ms is None or due_ms > self.now_ms
        assert connection is None or not connection.reason or not all_is_acknowledged, "ended for no reason"
        overdue = None if connection is None else connection.session.overdue(self.now_ms)
        if connection is not None and overdue is not None:
            connection.end(overdue)
        self._bury()
        if self.connection is not None:
            oldest_ms = self.connection.oldest_in_flight_ms()
            assert oldest_ms is None or self.now_ms - oldest_ms <= FRESHNESS_MS, "unacknowledged for too long"
        expires_ms = self.crossing.outbox.expires_ms
        assert expires_ms is None or expires_ms > self.now_ms, "what waits is stale"
        return True

    def reset(self) -> bool:
        if self.connection is None:
            return False
        self.connection.broke("the connection broke")
        self._bury()
        return True

    def stop(self) -> bool:
        if self.is_stopped:
            return False
        self.is_stopped = True
        if self.connection is not None:
            self.connection.end("the gateway stops")
            self._bury()
        self.crossing.stop()
        return True

    def check(self) -> None:
        """Nothing twice, nothing late, sums add up."""
        outbox = self.crossing.outbox
        assert outbox.offered == len(self.tickets) == sum(outbox.counts.values()) + outbox.waiting
        assert len(self.ends) + outbox.waiting == len(self.tickets)
        assert outbox.octets <= QUEUE_OCTETS
        lines = [line for wire in self.wires for line in _lines_of(wire)]
        assert len(lines) == len(set(lines)) == outbox.counts[Outcome.SENT], "twice, or not as it was said"
        if self.is_stopped:
            assert outbox.waiting == 0

    def _say(self, octets: bytes) -> bool:
        if self.connection is None:
            return False
        session = self.connection.session
        was_mute = session.is_mute(self.now_ms)
        events = self.connection.receive(octets, self.now_ms)
        for event in events:
            if isinstance(event, LoginAnswered) and event.verified:
                self._sent(self.crossing.send_what_waits(self.now_ms))
            elif isinstance(event, LoginAnswered):
                self.crossing.give_up_refused()
                assert self.crossing.outbox.waiting == 0
        if was_mute:
            self._sent(self.crossing.send_what_waits(self.now_ms))
        return True

    def _sent(self, tickets: Sequence[Ticket]) -> None:
        for ticket in tickets:
            assert self.connection is not None, "sent without a connection"
            assert self.connection.session.may_send, "sent where the login is not verified"
            assert not self.connection.session.is_mute(self.now_ms), "sent to a server that missed its heartbeats"
            assert not self.is_stopped, "sent after the stop"
            assert self.now_ms - ticket.since_ms <= FRESHNESS_MS, "sent late"
        self._end(Outcome.SENT, tickets)

    def _end(self, outcome: Outcome, tickets: Sequence[Ticket]) -> None:
        for ticket in tickets:
            assert ticket.name not in self.ends, "two ends for one line"
            self.ends[ticket.name] = outcome
            assert (outcome is Outcome.LATE) <= (self.now_ms - ticket.since_ms > FRESHNESS_MS), "late before its time"

    def _bury(self) -> None:
        """The client lets go of a connection that has ended."""
        connection, wire = self.connection, self._wire
        if connection is None or wire is None or not connection.reason:
            return
        octets = b"".join(wire.written)
        lost = octets[len(octets) - wire.unacknowledged :]
        logins = wire.written[0].count(b"\n") if wire.written and wire.written[0].startswith(b"user ") else 0
        open_logins = logins if len(lost) == len(octets) or wire.written[0] in lost else 0
        assert connection.unconfirmed == lost.count(b"\n") - open_logins
        self.past.append(connection)
        self.crossing.connection = self._wire = None


def _lines_of(wire: WorldsWire) -> list[bytes]:
    return [line for octets in wire.written for line in octets.splitlines() if not line.startswith(b"user ")]


EVENTS: tuple[Callable[[World], bool], ...] = (
    World.connect,
    World.greet,
    World.verify,
    World.refuse,
    World.offer,
    World.acknowledge,
    World.time_passes,
    World.reset,
    World.stop,
)


def every_sequence(longest: int, passcode: int | None = PASSCODE) -> int:
    """Every sequence of so many events and fewer; gives back how many could happen.

    One with an event that cannot happen where it stands, and so changes nothing, is the same as a shorter one.
    """
    count = 0
    waiting: list[tuple[Callable[[World], bool], ...]] = [()]
    while waiting:
        sequence = waiting.pop()
        for event in EVENTS:
            world = World(passcode)
            for earlier in sequence:
                earlier(world)
            if not event(world):
                continue
            world.check()
            count += 1
            if len(sequence) + 1 < longest:
                waiting.append((*sequence, event))
    return count
