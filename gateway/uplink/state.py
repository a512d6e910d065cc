"""What an uplink is made from, and what it shows of itself."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from gateway.frames.heard import Run
from gateway.groundwork.back_off import Pauses
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, gauge
from gateway.uplink.outbox import Outcome


@dataclass(frozen=True, slots=True)
class UplinkOptions:
    """What the operator chose, and the times that suit the network. Its representation does not show the passcode."""

    servers: tuple[tuple[str, int], ...]
    """Host and port, in the order in which they are tried."""

    callsign: str
    passcode: int = field(repr=False)
    """-1: log in to receive only."""

    filter: str
    """A server command, passed in the login as it is."""

    freshness_ms: int
    """How long after it was heard a line may still be handed to the network, and how long after that it may stay
    unacknowledged before the connection is reset."""

    silence_ms: int
    """A server this long silent is dead."""

    queue_bytes: int = 256 * 1024
    """How many octets of lines may wait; the oldest are dropped above that."""

    send_buffer_bytes: int = 16 * 1024
    """What the kernel is asked to hold at most (Linux doubles the figure for its own book-keeping)."""

    connect_ms: int = 5_000
    """How long looking up a server's name may take, and then each of its addresses."""

    login_ms: int = 15_000
    """How long greeting and answer to the login may take together."""

    pauses: Pauses = Pauses(first=1.0, longest=60.0, spread=1.0)
    """After failures; they double each time that every server has failed. A connection stands from its login on, and
    where that is accepted."""

    unverified_ms: int = 120_000
    """How long a connection whose login is not accepted is kept before the next server is tried."""


LOGIN_REFUSED_ADVICE = (
    "the passcode is the callsign's own: is another computer logged in with the same callsign? is the login check of"
    " this server broken, or the callsign barred there? ask who runs it; after two minutes the next server is tried"
)


class UplinkPhase(StrEnum):
    """Where the uplink stands."""

    WAITING = "waiting"
    """No connection: it was not started, or it pauses before the next attempt."""

    CONNECTING = "connecting"
    LOGGING_IN = "logging-in"
    VERIFIED = "verified"
    UNVERIFIED = "unverified"
    """The server does not accept the login: it gives, and takes nothing."""

    RECEIVE_ONLY = "receive-only"
    """Logged in without a passcode, as asked."""

    STOPPED = "stopped"


_STATES = {
    UplinkPhase.WAITING: State.DOWN,
    UplinkPhase.CONNECTING: State.DOWN,
    UplinkPhase.LOGGING_IN: State.DEGRADED,
    UplinkPhase.VERIFIED: State.OK,
    UplinkPhase.UNVERIFIED: State.DEGRADED,
    UplinkPhase.RECEIVE_ONLY: State.OK,
    UplinkPhase.STOPPED: State.DOWN,
}

_NOT_YET = frozenset({UplinkPhase.WAITING, UplinkPhase.CONNECTING, UplinkPhase.LOGGING_IN})


@dataclass(frozen=True, slots=True)
class UplinkState:
    """Everything that health needs to know of the uplink, at one moment."""

    phase: UplinkPhase
    since_ms: int
    """Elapsed time at which the phase began."""

    server: str
    """Host and port of the server that is connected, or was tried last; empty before the first attempt."""

    server_name: str
    """What the connected server calls itself: printable ASCII, cut."""

    reason: str
    """Why the last connection ended, or none came about, with the server's remark; empty while a login is answered as
    it should be."""

    remark: str
    """What of that are the server's own words: printable ASCII, cut; mostly empty."""

    login_refused: bool
    """Whether the reason is that a server does not accept the login."""

    outcomes: Mapping[Outcome, int]
    offered: int
    """Lines offered so far: the sum of all outcomes and of what waits."""

    waiting: int
    unconfirmed: int
    """Of the lines that were sent, those that were in flight when their connection ended: nobody knows whether they
    arrived."""

    bytes_sent: int
    """All octets handed to the network, logins included."""

    last_heard_ms: int | None
    """Elapsed time of the last line from any server."""

    comments: int
    """Comments from servers: their heartbeat."""

    lines_discarded: int
    """Lines from the network: read and, for now, not used."""

    connections: int
    """Connections that came about, whether or not their login was answered."""

    mute: bool = False
    """Whether the server has missed two of its heartbeats: it is given nothing until it speaks."""

    def part(self, run: Run) -> Part:
        """How the connection to the network is: `waiting` until the first attempt has come to something."""
        state = _STATES[self.phase]
        if self.phase in _NOT_YET and not self.reason:
            state = State.WAITING
        if self.mute:
            why = "the server has missed two of its heartbeats: it is given nothing until it speaks"
            do = "nothing yet: it is left for the next one once it was silent for `silence`"
            return Part(PartKind.UPLINK, "uplink", State.DEGRADED, run.time_ms(self.since_ms), why, do)
        return Part(PartKind.UPLINK, "uplink", state, run.time_ms(self.since_ms), self.reason, self._remedy(state))

    def _remedy(self, state: State) -> str:
        if self.phase is UplinkPhase.RECEIVE_ONLY:
            return "nothing is sent: give a passcode to send"
        if self.login_refused:
            return LOGIN_REFUSED_ADVICE
        if self.server and state is State.DOWN:
            said = "what the server said may tell why; the next one is tried"
            return said if self.remark else f"can this computer reach {self.server}?"
        return ""

    def figures(self, run: Run) -> Sequence[Figure]:
        """All that is counted beside the outcomes."""
        figures = [
            counter("unconfirmed", self.unconfirmed, "Lines sent that were in flight when their connection ended."),
            counter("octets_sent", self.bytes_sent, "Octets handed to the network, logins included."),
            counter("connections", self.connections, "Connections that came about."),
            counter("server_comments", self.comments, "Comments from servers: their heartbeat."),
            counter("server_lines_discarded", self.lines_discarded, "Lines from servers that were read and not used."),
        ]
        if self.last_heard_ms is not None:
            age_ms = run.now().elapsed_ms - self.last_heard_ms
            figures.append(gauge("last_line_age_seconds", age_ms / 1000, "How long ago a server said something last."))
        return figures
