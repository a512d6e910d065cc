"""One connection's protocol, without any I/O: bytes from the server in; bytes to send, events and counts out.

How to think about it. The server speaks first: one comment line, `# software version`. That is the greeting, and our
login line is the only thing that we say until it is answered by `# logresp CALL verified, server NAME` or by the same
with `unverified`. What was verified may be taken back, and that counts at once; what was not verified never is, as long
as its connection lasts. Frames may go up in `VERIFIED` alone; the session itself never sees them.

    state               a comment (`# …`)                               any other line       given up when
    AWAITING_GREETING   is the greeting: log in, to LOGGING_IN          counted, discarded   not answered in time
    LOGGING_IN          logresp of ours: to VERIFIED or UNVERIFIED;     counted, discarded   not answered in time
                        else a remark
    VERIFIED            unverified logresp of ours: to UNVERIFIED;      counted, discarded   silent for too long
                        else a heartbeat or a remark
    UNVERIFIED          a heartbeat or a remark                         counted, discarded   silent or kept for too long

A login that is not verified is kept for `unverified_ms`: then another server may do better. One that asked for no more
than to receive is never verified, and stays.

The comments that come about every 20 s are the only heartbeat (IS-Connect; the interval is common practice). A server
that sends no whole line for longer than `silence_ms` is dead, whatever TCP believes. Before that, one that misses two
of its heartbeats gets no more lines until it speaks again, whatever it says: its kernel may acknowledge for a program
that stands still, and would hand it old lines later. How often it beats is learnt from this connection's own comments.
Time is passed in, always.

The server is no friend: its lines are cut at 512 octets, what it says that is shown is made printable and cut, and no
byte of its choosing can raise anything here. A `logresp` for another callsign is not an answer to us.
"""

import re
from collections import deque
from dataclasses import dataclass, field
from enum import Enum, auto

from gateway import __version__
from gateway.frames.delimited import DelimitedStream
from gateway.frames.header import is_network_callsign
from gateway.frames.network_line import LINE_END, MAXIMUM_LINE_OCTETS
from gateway.groundwork.printable import printable

RECEIVE_ONLY = -1
"""The passcode that asks for a login which only receives (IS-Connect)."""

NOT_ACCEPTED = "the server does not accept the login"

PROGRAM = "Stile"
MAXIMUM_NAME = 60
"""What is kept of the software's and the server's own names, in characters."""

MAXIMUM_REMARK = 120
"""What is kept of a server's remark, in characters."""

# IS-Connect: more words may follow the server's callsign.
SHORTEST_BEAT_MS, LONGEST_BEAT_MS = 5_000, 60_000
"""Between these a heartbeat is taken to lie, however far apart a server's comments come (ours)."""

BEATS_REMEMBERED = 4
"""The longest of so many counts: a remark between two heartbeats makes none of them shorter."""

BEATS_MISSED = 2

_LOGIN_RESPONSE = re.compile(rb"#\s*logresp\s+(\S+)\s+(verified|unverified)\b(?:\s*,\s*server\s+([^\s,]+))?")
_EIGHT_HEX_DIGITS = re.compile(r"[0-9A-Fa-f]{8}\Z")


class LoginError(ValueError):
    """The login cannot be written as a line; the message says why, and never holds the passcode."""


@dataclass(frozen=True, slots=True)
class Login:
    """Who logs in. Its representation does not show the passcode."""

    callsign: str
    passcode: int | None = field(repr=False)
    """None or `RECEIVE_ONLY`: this login only receives."""

    filter: str = ""
    """A server command, sent as it is."""

    def __post_init__(self) -> None:
        if not is_network_callsign(self.callsign):
            raise LoginError(f"{self.callsign!r} is no callsign that the network accepts: say something like QX1GAT-10")
        if _EIGHT_HEX_DIGITS.match(self.callsign):  # IS-Q: such a name means an address in a q construct
            raise LoginError(
                f"{self.callsign!r} is eight hex digits, which the network forbids: add or change the SSID"
            )
        if not (self.filter.isascii() and self.filter.isprintable()) or len(self.line()) > MAXIMUM_LINE_OCTETS:
            raise LoginError(f"the filter must be printable ASCII that fits a line of {MAXIMUM_LINE_OCTETS} octets")

    @property
    def receive_only(self) -> bool:
        """Whether this login asks for nothing but to receive."""
        return self.passcode is None or self.passcode == RECEIVE_ONLY

    def line(self) -> bytes:
        """The login line, CR LF included (IS-Connect)."""
        passcode = RECEIVE_ONLY if self.passcode is None else self.passcode
        command = f" filter {self.filter}" if self.filter else ""
        return f"user {self.callsign} pass {passcode} vers {PROGRAM} {__version__}{command}".encode("ascii") + LINE_END


class SessionState(Enum):
    """Where a session stands; the table above says what leads where."""

    AWAITING_GREETING = auto()
    LOGGING_IN = auto()
    VERIFIED = auto()
    UNVERIFIED = auto()


@dataclass(frozen=True, slots=True)
class Greeted:
    """The server has greeted; the login line is ready to be sent."""

    software: str
    """What the server says that it runs: printable ASCII, cut."""


@dataclass(frozen=True, slots=True)
class LoginAnswered:
    """The server has answered our login."""

    verified: bool
    server: str
    """The server's callsign: printable ASCII, cut; empty where it gave none."""


Event = Greeted | LoginAnswered


class Session:
    """The protocol of one connection, from its first byte to its last."""

    def __init__(self, login: Login, *, opened_ms: int, login_ms: int, silence_ms: int, unverified_ms: int) -> None:
        """`opened_ms`: when the connection stood; `login_ms`: how long greeting and answer may take in all.

        `unverified_ms`: how long a login that is not verified is kept.
        """
        self.state = SessionState.AWAITING_GREETING

        self.may_send = False
        """Whether frames may go up."""

        self.comments = 0
        """Comments heard, greeting and answer included."""

        self.lines_discarded = 0
        """Lines from the network: read, lest the socket stall, and not used (IS-Connect)."""

        self.last_heard_ms: int | None = None
        """When the last whole line came."""

        self.remark = ""
        """The server's last words, if they may say why it refuses us: printable ASCII, cut. A heartbeat (it begins as
        the greeting did; common practice) and an answer that is as it should be say nothing of that."""

        self.last_octet_ms: int | None = None
        """When the last octet came: any is a sign that the server's program runs."""

        self._last_comment_ms: int | None = None
        """When the last comment came after the login was answered."""

        self._beats_ms: deque[int] = deque(maxlen=BEATS_REMEMBERED)
        self._login = login
        self._silence_ms = silence_ms
        self._unverified_ms = unverified_ms
        self._answer_due_ms = opened_ms + login_ms
        self._unverified_since_ms = 0
        self._greeting = ""
        self._stream = DelimitedStream(b"\n", MAXIMUM_LINE_OCTETS, starts_delimited=True)
        self._to_send = b""

    @property
    def answered(self) -> bool:
        """Whether the login was answered, either way."""
        return self.state in (SessionState.VERIFIED, SessionState.UNVERIFIED)

    @property
    def accepted(self) -> bool:
        """Whether the server takes the login for what it asks."""
        return self.state is SessionState.VERIFIED or (self.answered and self._login.receive_only)

    @property
    def deadline_ms(self) -> int:
        """When this connection is to be given up if nothing more is heard."""
        if not self.answered or self.last_heard_ms is None:
            return self._answer_due_ms
        silent_ms = self.last_heard_ms + self._silence_ms
        return silent_ms if self.accepted else min(silent_ms, self._unverified_since_ms + self._unverified_ms)

    def overdue(self, now_ms: int) -> str | None:
        """Why the connection is to be given up now; None where it is not."""
        if now_ms < self.deadline_ms:
            return None
        if self.answered and not self.accepted and now_ms >= self._unverified_since_ms + self._unverified_ms:
            return NOT_ACCEPTED
        if self.answered:
            return f"the server was silent for {self._silence_ms / 1000:g} s"
        if self.state is SessionState.LOGGING_IN:
            return "the server did not answer the login"
        return "the server did not greet"

    @property
    def beat_ms(self) -> int | None:
        """How far apart its heartbeats come; None while no two comments were heard since the login was answered."""
        return max(self._beats_ms, default=None)

    def is_mute(self, now_ms: int) -> bool:
        """Whether the server has missed two of its heartbeats, and so is given nothing until it speaks."""
        beat_ms, last_ms = self.beat_ms, self.last_octet_ms
        return beat_ms is not None and last_ms is not None and now_ms - last_ms > BEATS_MISSED * beat_ms

    def receive(self, data: bytes, now_ms: int) -> list[Event]:
        """Take what the server sent. Never raises, whatever it is."""
        events: list[Event] = []
        if data:
            self.last_octet_ms = now_ms
        for piece in self._stream.feed(data):
            self.last_heard_ms = now_ms
            if not piece.startswith(b"#"):
                self.lines_discarded += piece != b"\r"
                continue
            self.comments += 1
            if self.answered:
                self._learn_beat(now_ms)
            event = self._comment(piece, now_ms)
            if event is not None:
                events.append(event)
        return events

    def take_to_send(self) -> bytes:
        """The bytes that the server must get now; they are given out once."""
        octets, self._to_send = self._to_send, b""
        return octets

    def _learn_beat(self, now_ms: int) -> None:
        if self._last_comment_ms is not None:
            apart_ms = now_ms - self._last_comment_ms
            self._beats_ms.append(min(max(apart_ms, SHORTEST_BEAT_MS), LONGEST_BEAT_MS))
        self._last_comment_ms = now_ms

    def _comment(self, line: bytes, now_ms: int) -> Event | None:
        said = _shown(line.lstrip(b"# "), MAXIMUM_REMARK)
        if self.state is SessionState.AWAITING_GREETING:
            self.state = SessionState.LOGGING_IN
            self.remark = self._greeting = said
            self._to_send = self._login.line()
            return Greeted(said[:MAXIMUM_NAME])
        is_heartbeat = self.answered and self._greeting != "" and said.startswith(self._greeting)
        if self.state is SessionState.UNVERIFIED:
            self.remark = self.remark if is_heartbeat else said
            return None
        self.remark = "" if is_heartbeat else said
        return self._login_response(line, now_ms)

    def _login_response(self, line: bytes, now_ms: int) -> LoginAnswered | None:
        """What `line` answers to our login; None where it is no answer to it, or says nothing new."""
        answer = _LOGIN_RESPONSE.match(line)
        if answer is None or answer[1].upper() != self._login.callsign.upper().encode("ascii"):
            return None
        state = SessionState.VERIFIED if answer[2] == b"verified" else SessionState.UNVERIFIED
        is_new, self.state = state is not self.state, state
        self.may_send = state is SessionState.VERIFIED and not self._login.receive_only
        self._unverified_since_ms = now_ms
        if self.accepted:
            self.remark = ""
        server = _shown(answer[3] or b"", MAXIMUM_NAME)
        return LoginAnswered(state is SessionState.VERIFIED, server) if is_new else None


def _shown(octets: bytes, longest: int) -> str:
    """What a stranger says, fit to be shown and logged."""
    return printable(octets.strip()[:longest].decode("ascii", "backslashreplace"))[:longest]
