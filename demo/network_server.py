"""A stand-in for a server of the position-reporting network, with a strict eye on every line that it gets.

It greets, asks for a login, checks the passcode, answers, sends its heartbeat, and judges each line by the network's
published rules (the pages Connecting, IGate Details, q Construct and Server Design; what else it asks is common
practice and says so). Nothing here is taken from the gateway: it judges from outside. It can also misbehave in every
way that a real server or the net between can, which is what the tests want of it.

    python demo/network_server.py --port 14580
"""

import argparse
import asyncio
import contextlib
import re
import signal
import socket
import struct
import time
from collections import Counter, deque
from collections.abc import Callable
from dataclasses import dataclass, field
from enum import Enum, StrEnum, auto
from functools import lru_cache
from types import TracebackType
from typing import Self, cast

MAXIMUM_LINE = 512
"""Octets, CR LF included (Connecting)."""

MAXIMUM_REPEATERS = 8
"""Of an AX.25 path."""

MAXIMUM_UNFINISHED = 4096
DUPLICATE_SECONDS = 30.0
MAXIMUM_REMEMBERED = 50_000
"""How many lines are remembered as possible originals; the oldest are forgotten above that."""

_CALLSIGN = re.compile(r"(?=.{1,9}$)[A-Za-z0-9]+(-[A-Za-z0-9]{1,2})?$")
_Q_CONSTRUCT = re.compile(r"q[A-Z][A-Za-z]$")
_LOGIN = re.compile(
    rb"user (?P<callsign>\S+) pass (?P<passcode>-?\d{1,5})(?: vers (?P<software>\S+ \S+))?(?: filter .*)?$"
)


class Fault(StrEnum):
    """Why a line is not taken."""

    BEFORE_LOGIN = "came before the login"
    NOT_VERIFIED = "its login is not verified"
    LINE_END = "does not end in CR LF, or holds one of them inside"
    TOO_LONG = "longer than 512 octets"
    NO_HEADER = "has no header"
    CALLSIGN = "a callsign is not one"
    PLACEHOLDER = "its sender is nobody's callsign"
    ZERO_SSID = "an SSID of 0 is written"
    STARS = "more than one repeater is starred"
    PATH_TOO_LONG = "more than eight repeaters"
    Q_CONSTRUCT = "has not exactly one q construct"
    WRONG_GATE = "the q construct and the login do not end the path"
    INTERNET = "it came from the internet"
    NOT_TO_GATE = "its sender asked not to be gated"
    THIRD_PARTY = "a third-party header was not stripped"
    QUERY = "a query to everybody"
    EMPTY = "says nothing"


def fault_of(line: bytes, login: str) -> Fault | None:
    """What is wrong with `line` (CR LF included) from the receive-only gateway `login`; None where nothing is."""
    body = line.removesuffix(b"\r\n")
    if len(body) + 2 != len(line) or b"\r" in body or b"\n" in body:
        return Fault.LINE_END
    if len(line) > MAXIMUM_LINE:
        return Fault.TOO_LONG
    header, colon, information = body.partition(b":")
    if not colon:
        return Fault.NO_HEADER
    fault = _header_fault(header, login)
    if fault is not None:
        return fault
    if not information:
        return Fault.EMPTY  # common practice
    return {b"}": Fault.THIRD_PARTY, b"?": Fault.QUERY}.get(information[:1])


@lru_cache(maxsize=4096)
def _header_fault(header: bytes, login: str) -> Fault | None:
    source, arrow, rest = header.decode("latin-1").partition(">")
    destination, *path = rest.split(",")
    repeaters = path[:-2]
    names = [entry.removesuffix("*") for entry in path]
    calls = [source, destination, *names]
    faults = {
        Fault.NO_HEADER: not arrow,
        Fault.Q_CONSTRUCT: sum(_Q_CONSTRUCT.match(name) is not None for name in names) != 1,
        Fault.WRONG_GATE: path[-2:] != ["qAO", login],  # a gateway that cannot transmit (IGate Details)
        Fault.PATH_TOO_LONG: len(repeaters) > MAXIMUM_REPEATERS,
        Fault.INTERNET: not {"TCPIP", "TCPXX"}.isdisjoint(names),
        Fault.NOT_TO_GATE: not {"NOGATE", "RFONLY"}.isdisjoint(names),
        Fault.STARS: sum(entry.endswith("*") for entry in repeaters) > 1,  # common practice: the last used one alone
        Fault.CALLSIGN: not all(map(_CALLSIGN.match, calls)),
        Fault.ZERO_SSID: any(call.endswith("-0") for call in calls),
        Fault.PLACEHOLDER: source.partition("-")[0] in ("NOCALL", "N0CALL", "MYCALL"),  # common practice
    }
    return next((fault for fault, found in faults.items() if found), None)


def passcode_belongs(callsign: str, passcode: int) -> bool:
    """The network's checksum of a callsign without its SSID (from memory)."""
    letters = callsign.partition("-")[0].upper().encode("latin-1")
    padded = letters + b"\0" * (len(letters) % 2)
    checksum = 0x73E2
    for (pair,) in struct.iter_unpack(">H", padded):
        checksum ^= pair
    return checksum & 0x7FFF == passcode


@dataclass
class Counts:
    """What came. lines = accepted + duplicates + all that was rejected."""

    connections: int = 0
    verified: int = 0
    unverified: int = 0
    octets: int = 0
    lines: int = 0
    accepted: int = 0
    duplicates: int = 0
    """Proper lines with the sender, destination and information of one within the last 30 s (Server Design)."""

    rejected: Counter[Fault] = field(default_factory=Counter)

    def __str__(self) -> str:
        """One line for a terminal."""
        refused = ", ".join(f"{count} {fault.value}" for fault, count in sorted(self.rejected.items()))
        return (
            f"{self.connections} connections ({self.verified} verified, {self.unverified} not), {self.lines} lines: "
            f"{self.accepted} accepted, {self.duplicates} duplicates, {self.rejected.total()} rejected"
            + (f" ({refused})" if refused else "")
        )


class Answer(Enum):
    """How a login is answered."""

    HONEST = auto()
    """Verified where the passcode belongs to the callsign, else unverified."""

    UNVERIFIED = auto()
    FOR_SOMEBODY_ELSE = auto()
    NONE = auto()


@dataclass
class Conduct:
    """How the server behaves from now on: the tests change it as they go."""

    comment_seconds: float = 20.0
    """The pace of the heartbeat (common practice)."""

    greets: bool = True
    answer: Answer = Answer.HONEST
    silent: bool = False
    """No heartbeat."""

    dribbles: bool = False
    """What it says comes one octet at a time."""


class NetworkServer:
    """Listens while its context lasts. Everything that it got stands in `counts` and, where asked for, in `lines`."""

    def __init__(  # noqa: PLR0913 - a stand-in has many knobs, all of them named
        self,
        host: str = "127.0.0.1",
        port: int = 0,
        *,
        callsign: str = "QN1NET",
        conduct: Conduct | None = None,
        keep_lines: int = 0,
        receive_buffer_octets: int | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        """`port` 0: any free one. `keep_lines`: how many of the latest lines to keep, CR LF included."""
        self.host = host
        self.port = port
        self.callsign = callsign
        self.conduct = conduct or Conduct()
        self.counts = Counts()
        self.lines: deque[bytes] = deque(maxlen=keep_lines)
        self.logins: deque[bytes] = deque(maxlen=16)
        """The last login lines, passcode and all: only ever a stand-in keeps them."""

        self.reading = True
        self.visitors: set[Visitor] = set()
        self._receive_buffer_octets = receive_buffer_octets
        self._clock = clock
        self._seen: dict[tuple[bytes, bytes], float] = {}
        self._server: asyncio.Server | None = None
        self._changed = asyncio.Event()

    async def __aenter__(self) -> Self:
        await self.listen()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.refuse()
        self.reset()
        await self.until(lambda: not self.visitors)

    async def listen(self) -> None:
        """Let connections in, again if need be, at the same port."""
        family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
        listening = socket.create_server((self.host, self.port), family=family)
        if self._receive_buffer_octets is not None:  # each connection inherits it
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, self._receive_buffer_octets)
        self.port = listening.getsockname()[1]
        self._server = await asyncio.get_running_loop().create_server(lambda: Visitor(self), sock=listening)

    def refuse(self) -> None:
        """Refuse new connections; those that stand, stand."""
        if self._server is not None:
            self._server.close()
            self._server = None

    def reset(self) -> None:
        """Reset every connection."""
        for visitor in set(self.visitors):
            visitor.reset()

    def half_close(self) -> None:
        """Say no more on any connection, but go on to read."""
        for visitor in set(self.visitors):
            visitor.half_close()

    def stop_reading(self) -> None:
        """Take nothing more from anybody: what they send fills the buffers."""
        self.reading = False
        for visitor in self.visitors:
            visitor.obey_reading()

    def go_on_reading(self) -> None:
        """Take what comes again."""
        self.reading = True
        for visitor in self.visitors:
            visitor.obey_reading()

    def say(self, octets: bytes) -> None:
        """Send any bytes at all to everybody."""
        for visitor in self.visitors:
            visitor.say(octets)

    async def until(self, condition: Callable[[], bool], seconds: float = 5.0) -> None:
        """Wait until `condition` holds; it is asked whenever something has come. Raises `TimeoutError`."""
        async with asyncio.timeout(seconds):
            while not condition():
                self._changed.clear()
                await self._changed.wait()

    def has_changed(self) -> None:
        """Something has come, or gone."""
        self._changed.set()

    def judge(self, line: bytes, fault: Fault | None) -> None:
        """Count a line that is no login."""
        counts = self.counts
        counts.lines += 1
        self.lines.append(line)
        if fault is not None:
            counts.rejected[fault] += 1
        elif self._is_duplicate(line):
            counts.duplicates += 1
        else:
            counts.accepted += 1

    def _is_duplicate(self, line: bytes) -> bool:
        header, _, information = line.partition(b":")
        key = (header.partition(b",")[0], information)
        now = self._clock()
        earlier = self._seen.pop(key, None)
        self._seen[key] = now
        if len(self._seen) > MAXIMUM_REMEMBERED:
            del self._seen[next(iter(self._seen))]
        return earlier is not None and now - earlier < DUPLICATE_SECONDS


class Visitor(asyncio.Protocol):
    """One connection."""

    def __init__(self, server: NetworkServer) -> None:
        self._server = server
        self._conduct = server.conduct
        self._transport = cast("asyncio.Transport", None)
        self._unfinished = b""
        self._passing_over = False
        self._says_no_more = False
        self._to_dribble = bytearray()
        self._dribbling: asyncio.Handle | None = None
        self._heartbeat: asyncio.TimerHandle | None = None
        self.login: str | None = None
        self.verified = False

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Greet."""
        self._transport = cast("asyncio.Transport", transport)
        self._server.visitors.add(self)
        self._server.counts.connections += 1
        self.obey_reading()
        if self._conduct.greets:
            self.say(b"# stand-in 1.0\r\n")
        self._plan_heartbeat()
        self._server.has_changed()

    def connection_lost(self, error: Exception | None) -> None:
        """Forget the visitor."""
        del error
        for handle in (self._heartbeat, self._dribbling):
            if handle is not None:
                handle.cancel()
        self._server.visitors.discard(self)
        self._server.has_changed()

    def data_received(self, data: bytes) -> None:
        """Cut at LF, with a bound on what is kept, and judge each line."""
        self._server.counts.octets += len(data)
        *lines, self._unfinished = (self._unfinished + data).split(b"\n")
        for line in lines:
            if self._passing_over:
                self._passing_over = False
            else:
                self._take(line + b"\n")
        if len(self._unfinished) > MAXIMUM_UNFINISHED:
            if not self._passing_over:
                self._server.judge(self._unfinished[:MAXIMUM_UNFINISHED], Fault.TOO_LONG)
            self._passing_over = True
            self._unfinished = b""
        self._server.has_changed()

    def say(self, octets: bytes) -> None:
        """Send `octets`, at once or one at a time."""
        if self._says_no_more:
            return
        if not self._conduct.dribbles and not self._to_dribble:
            self._transport.write(octets)
            return
        self._to_dribble += octets
        if self._dribbling is None:
            self._dribble()

    def reset(self) -> None:
        """End the connection with a reset."""
        sock = self._transport.get_extra_info("socket")
        sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
        self._transport.abort()

    def half_close(self) -> None:
        """Say no more."""
        self._says_no_more = True
        self._transport.write_eof()

    def obey_reading(self) -> None:
        """Read, or do not, as the server says."""
        if self._server.reading:
            self._transport.resume_reading()
        else:
            self._transport.pause_reading()

    def _take(self, line: bytes) -> None:
        if self.login is None and line.startswith(b"user "):
            self._log_in(line)
        elif line.startswith(b"#"):
            pass  # a comment of the client's, to keep the connection up
        elif self.login is None:
            self._server.judge(line, Fault.BEFORE_LOGIN)
        elif not self.verified:
            self._server.judge(line, Fault.NOT_VERIFIED)
        else:
            self._server.judge(line, fault_of(line, self.login))

    def _log_in(self, line: bytes) -> None:
        self._server.logins.append(line)
        login = _LOGIN.match(line.removesuffix(b"\r\n"))
        callsign = login["callsign"].decode("latin-1") if login else ""
        if login is None or not line.endswith(b"\r\n") or not _CALLSIGN.match(callsign):
            self.say(b"# invalid login\r\n")
            return
        self.login = callsign
        belongs = passcode_belongs(callsign, int(login["passcode"]))
        self.verified = belongs and self._conduct.answer is not Answer.UNVERIFIED
        if self.verified:
            self._server.counts.verified += 1
        else:
            self._server.counts.unverified += 1
        if self._conduct.answer is Answer.NONE:
            return
        named = "QX9ELSE" if self._conduct.answer is Answer.FOR_SOMEBODY_ELSE else callsign
        word = "verified" if self.verified else "unverified"
        self.say(f"# logresp {named} {word}, server {self._server.callsign}\r\n".encode("latin-1"))

    def _plan_heartbeat(self) -> None:
        loop = asyncio.get_running_loop()
        self._heartbeat = loop.call_later(self._conduct.comment_seconds, self._beat)

    def _beat(self) -> None:
        if not self._conduct.silent and not self._transport.is_closing():
            self.say(b"# stand-in 1.0, %d lines taken\r\n" % self._server.counts.accepted)
        self._plan_heartbeat()

    def _dribble(self) -> None:
        self._dribbling = None
        if self._to_dribble and not (self._says_no_more or self._transport.is_closing()):
            self._transport.write(bytes((self._to_dribble.pop(0),)))
            self._dribbling = asyncio.get_running_loop().call_later(0, self._dribble)


async def serve(host: str, port: int, comment_seconds: float) -> None:
    """Run until interrupted; print the counts whenever they have changed, once a second at most."""
    stop = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stop.set)
    async with NetworkServer(host, port, conduct=Conduct(comment_seconds=comment_seconds)) as server:
        print(f"listening on {host} port {server.port}", flush=True)
        shown = ""
        while not stop.is_set():
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(stop.wait(), 1.0)
            if str(server.counts) != shown:
                shown = str(server.counts)
                print(shown, flush=True)


def main() -> None:
    """The command line."""
    parser = argparse.ArgumentParser(description="A stand-in for a server of the position-reporting network.")
    parser.add_argument("--host", default="127.0.0.1")
    parser.add_argument("--port", type=int, default=14580)
    parser.add_argument("--comment-seconds", type=float, default=20.0, help="pace of the heartbeat")
    chosen = parser.parse_args()
    asyncio.run(serve(chosen.host, chosen.port, chosen.comment_seconds))


if __name__ == "__main__":
    main()
