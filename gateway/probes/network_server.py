"""A server of the network: does it greet, and verify the login? Asked beside whatever gateway is logged in by now.

The network knows each login once: who logs in under the name of a gateway that runs throws it off (IS-Q: a login name
is unique). So the probe takes a name of its own, the station's callsign with two letters as its SSID, which no radio
can send; the passcode is that of the callsign without its SSID (IS-Connect), and verifies it as well. Nothing is sent
but the login. The server is asked for what enters by the station's own name: where no gateway of ours runs and yet
something comes, another one runs with this login.
"""

import asyncio
import contextlib
import re
import time
from dataclasses import dataclass

from gateway.frames.delimited import DelimitedStream
from gateway.frames.header import base_of, is_network_callsign
from gateway.frames.network_line import MAXIMUM_LINE_OCTETS
from gateway.groundwork.printable import printable
from gateway.uplink.dial import DialError, dial
from gateway.uplink.session import Greeted, Login, LoginAnswered, Session, SessionState

DIAL_SECONDS = 6.0
LOGIN_SECONDS = 8.0
WATCH_SECONDS = 10.0
"""How long it is watched for lines of another gateway with this login, from the login's answer on."""

_OWN_SSIDS = ("DR", "DX", "D")
_READ_OCTETS = 4096
_SHOWN_OCTETS = 40
_FAR_MS = 3_600_000
_SEND_BUFFER_OCTETS = 4096


@dataclass(frozen=True, slots=True)
class ServerFound:
    """What became of one try at a server."""

    trouble: str = ""
    """Why there was no connection, or no longer; empty where nothing went wrong."""

    software: str = ""
    """What it greeted with; empty where it did not greet."""

    said: str = ""
    """The first octets of one that did not greet as a server of the network does: printable, cut."""

    verified: bool | None = None
    """None: the login was not answered, or there was none."""

    accepted: bool = False
    """Whether it took the login for what it asked: to send, or to receive only."""

    name: str = ""
    """The server's own callsign."""

    remark: str = ""
    """What it said last that may tell why it refuses: printable, cut."""

    same_login: int = 0
    """Lines that another gateway with the station's login sent meanwhile."""


def own_name(callsign: str) -> str | None:
    """The name under which the probe of the station `callsign` logs in; None where none is left."""
    names = (f"{base_of(callsign)}-{ssid}" for ssid in _OWN_SSIDS)
    return next((name for name in names if is_network_callsign(name) and name != callsign), None)


async def ask(
    host: str, port: int, callsign: str, passcode: int, *, watch_seconds: float = WATCH_SECONDS
) -> ServerFound:
    """Try the server once; where no name is left to log in by, its greeting alone is heard."""
    try:
        connected = await dial(
            host,
            port,
            seconds=DIAL_SECONDS,
            send_buffer_octets=_SEND_BUFFER_OCTETS,
            unacknowledged_ms=int(LOGIN_SECONDS * 1000),
        )
    except DialError as error:
        return ServerFound(str(error))
    reader, writer = await asyncio.open_connection(sock=connected)
    conversation = _Conversation(callsign, passcode, watch_seconds)
    try:
        return await conversation.hold(reader, writer)
    except OSError as error:
        return conversation.found(error.strerror or "the connection broke")
    finally:
        writer.transport.abort()
        with contextlib.suppress(OSError):
            await writer.wait_closed()


class _Conversation:
    """One connection: the uplink's own session, and a count of the lines that another gateway sent."""

    def __init__(self, callsign: str, passcode: int, watch_seconds: float) -> None:
        name = own_name(callsign)
        self._logs_in = name is not None
        self._watch_seconds = watch_seconds
        # "Entered by": the server's filter for what one gateway passed up (from memory).
        login = Login(name or callsign, passcode, f"e/{callsign}")
        now_ms = _now_ms()
        self._session = Session(
            login, opened_ms=now_ms, login_ms=int(LOGIN_SECONDS * 1000), silence_ms=_FAR_MS, unverified_ms=_FAR_MS
        )
        self._lines = DelimitedStream(b"\n", MAXIMUM_LINE_OCTETS, starts_delimited=True)
        self._entered = re.compile(rb"[^:]*,qA.," + re.escape(callsign.encode("ascii")) + rb":")
        self._first = b""
        self._greeting = self._name = ""
        self._verified: bool | None = None
        self._same_login = 0

    async def hold(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> ServerFound:
        """Hold it to its end. Raises `OSError`."""
        until = time.monotonic() + LOGIN_SECONDS
        while (left := until - time.monotonic()) > 0:
            try:
                async with asyncio.timeout(left):
                    data = await reader.read(_READ_OCTETS)
            except TimeoutError:
                break
            if not data:
                return self.found("the server closed the connection")
            was_answered = self._session.answered
            self._take(data)
            if self._is_none() or (self._greeting and not self._logs_in):
                break
            if octets := self._session.take_to_send():
                writer.write(octets)
                await writer.drain()
            if self._session.answered and not was_answered:
                until = time.monotonic() + (self._watch_seconds if self._session.accepted else 0)
        is_over = self._session.answered or (self._greeting and not self._logs_in)
        return self.found("" if is_over else self._session.overdue(_now_ms() + _FAR_MS) or "")

    def found(self, trouble: str) -> ServerFound:
        """What is known so far."""
        greeted = self._session.state is not SessionState.AWAITING_GREETING
        said = "" if greeted else printable(self._first[:_SHOWN_OCTETS].decode("ascii", "replace").strip())
        return ServerFound(
            trouble,
            self._greeting,
            said,
            self._verified,
            self._session.accepted,
            self._name,
            self._session.remark,
            self._same_login,
        )

    def _is_none(self) -> bool:
        """Whether its first line is whole, and no greeting: a server of the network begins with one (IS-Connect)."""
        return not self._greeting and b"\n" in self._first and not self._first.startswith(b"#")

    def _take(self, data: bytes) -> None:
        if b"\n" not in self._first:
            self._first = (self._first + data)[:MAXIMUM_LINE_OCTETS]
        for event in self._session.receive(data, _now_ms()):
            match event:
                case Greeted(software):
                    self._greeting = software or "nothing more"
                case LoginAnswered(verified, name):
                    self._verified, self._name = verified, name
        for line in self._lines.feed(data):
            self._same_login += self._entered.match(line) is not None


def _now_ms() -> int:
    return int(time.monotonic() * 1000)
