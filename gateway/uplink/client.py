"""The uplink as a whole: connections one after the other for ever, and lines handed to them at most once, never late.

How it keeps that promise (`crossing.py` decides, and this carries it out). A line waits in the `Outbox`, and there
alone, for as long as it is fresh. It leaves in one write with its neighbours, and only while the kernel takes
everything at once: the transport holds no more than what was left of one such write, the kernel no more than its
small send buffer. What was handed over is never handed over again. While anything waits or is unacknowledged, a watch
looks about once a second, or when the next thing falls due: what is stale in the queue is `late`; a connection whose
oldest octets were not acknowledged within `freshness` is reset, which throws away what the kernel still held. So a
line is handed over within `freshness` of being heard, and acknowledged within `freshness` of that, or it does not
arrive at all. With nothing to do, nothing runs.
"""

import asyncio
import contextlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic

import structlog

from gateway.frames.heard import Run
from gateway.groundwork.back_off import BackOff
from gateway.groundwork.hosts import address_of
from gateway.groundwork.part import Figure, Part
from gateway.uplink.connection import Connection
from gateway.uplink.crossing import Crossing
from gateway.uplink.dial import DialError, dial
from gateway.uplink.link import Link
from gateway.uplink.outbox import AnyDeparture, Outcome, Report
from gateway.uplink.session import NOT_ACCEPTED, Event, Login, LoginAnswered, Session
from gateway.uplink.state import LOGIN_REFUSED_ADVICE, UplinkOptions, UplinkPhase, UplinkState

WATCH_SECONDS = 1.0
SHORTEST_WATCH_SECONDS = 0.02
DRAIN_LOOK_SECONDS = 0.01

_log = structlog.get_logger("uplink")


class Uplink(Generic[AnyDeparture]):
    """The connection to the network: `run` keeps it, `offer` gives it lines, `drain` ends it well.

    `on_outcome` hears of the end of every line that did not go at once, in batches, some of them before `offer`
    returns; `on_change` hears of every change of phase. Neither may raise, and neither may call back into the uplink
    but for `state`. The uplink answers for itself: see `part.Answers`.
    """

    def __init__(
        self,
        options: UplinkOptions,
        run: Run,
        *,
        on_outcome: Report[AnyDeparture],
        on_change: Callable[[UplinkState], None] | None = None,
    ) -> None:
        """`run` has the clock that departures go by. Raises `session.LoginError` for what makes no login line."""
        self._options = options
        self._login = Login(options.callsign, options.passcode, options.filter)
        self._run = run
        self._on_outcome = on_outcome
        self._on_change = on_change
        self._crossing = Crossing[AnyDeparture](
            freshness_ms=options.freshness_ms,
            limit_octets=options.queue_bytes,
            receive_only=self._login.receive_only,
            report=on_outcome,
        )
        self._turn = 0
        self._back_off = BackOff(options.pauses, turns=len(options.servers))
        self._link: Link | None = None
        self._watch: asyncio.TimerHandle | None = None
        self._stopped = asyncio.Event()
        self._standing = _UplinkStanding(UplinkPhase.WAITING, run.now().elapsed_ms)
        self._totals = _Totals()
        self._logged_trouble = ""
        self._said_unverified = False

    def offer(self, departures: Sequence[AnyDeparture]) -> Sequence[AnyDeparture]:
        """Send lines now where that can be, else let them wait; returns what was sent, of these or of older ones.

        Never blocks. Call it from the event loop's thread.
        """
        if not departures:
            return ()
        sent = self._crossing.offer(departures, self._clock())
        if self._watch is None and not self._stopped.is_set() and not self._crossing.refuses:
            self._look_in(min(WATCH_SECONDS, self._options.freshness_ms / 1000))
        return sent

    @property
    def verified(self) -> bool:
        """Whether it is logged in and may send."""
        return self._standing.phase is UplinkPhase.VERIFIED

    @property
    def writable(self) -> bool:
        """Whether a line could be handed over now, and would go straight to the kernel."""
        connection = self._crossing.connection
        return connection is not None and connection.is_writable(self._clock())

    def send_now(self, lines: Sequence[bytes]) -> int:
        """Hand over whole lines that somebody else keeps, at this very moment; gives back how many, from the first on.

        What the kernel does not take whole at once is not taken at all, but for the rest of one write.
        """
        count = self._crossing.send_now(lines, self._clock())
        if count and self._watch is None:
            self._look_in(min(WATCH_SECONDS, self._options.freshness_ms / 1000))
        return count

    async def run(self) -> None:
        """Keep a connection for ever. Ends when it is cancelled, or once `drain` has stopped the uplink."""
        try:
            while not self._stopped.is_set():
                server = self._options.servers[self._turn % len(self._options.servers)]
                trouble, stood_ms, worked = await self._connect_and_stay(*server)
                self._turn += 1
                await self._stay_away(trouble, stood_ms, worked=worked)
        finally:
            self._stop()

    async def drain(self, seconds: float) -> None:
        """Stop: what waits may still go and be acknowledged, for no longer than `seconds`; the rest is `stopped`.

        Where there is no connection there is nothing to wait for.
        """
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                while self._crossing.is_getting_through():  # noqa: ASYNC110 - the kernel tells nobody of an acknowledgement
                    await asyncio.sleep(DRAIN_LOOK_SECONDS)
        self._stop()

    def part(self) -> Part:
        """How it is now."""
        return self.state().part(self._run)

    def figures(self) -> Sequence[Figure]:
        """All that it counts; the outcomes stand in the counts of frames."""
        return self.state().figures(self._run)

    def state(self) -> UplinkState:
        """Everything that health needs to know, as of now."""
        standing, totals, outbox = self._standing, self._totals, self._crossing.outbox
        connection = None if self._link is None else self._link.connection
        if connection is not None:
            totals = totals.with_connection(connection)
        return UplinkState(
            phase=standing.phase,
            since_ms=standing.since_ms,
            server=standing.server,
            server_name=standing.server_name,
            reason=str(standing.trouble),
            remark=standing.trouble.remark,
            login_refused=standing.trouble.login_refused,
            outcomes=dict(outbox.counts),
            offered=outbox.offered,
            waiting=outbox.waiting,
            unconfirmed=totals.unconfirmed,
            bytes_sent=totals.bytes_sent,
            last_heard_ms=totals.last_heard_ms,
            comments=totals.comments,
            lines_discarded=totals.lines_discarded,
            connections=totals.connections,
            mute=connection is not None and connection.session.is_mute(self._clock()),
        )

    def _clock(self) -> int:
        return self._run.now().elapsed_ms

    def _send_what_waits(self) -> None:
        """The connection takes lines, now or again."""
        sent = self._crossing.send_what_waits(self._clock())
        if sent:
            self._on_outcome(Outcome.SENT, sent)

    def _look_in(self, seconds: float) -> None:
        self._watch = asyncio.get_running_loop().call_later(seconds, self._look)

    def _look(self) -> None:
        """Let go of what is stale, wherever it is; look again while anything waits or is in flight."""
        self._watch = None
        now_ms = self._clock()
        due_ms = self._crossing.look(now_ms)
        if due_ms is not None:
            self._look_in(max(SHORTEST_WATCH_SECONDS, min(WATCH_SECONDS, (due_ms - now_ms) / 1000)))

    async def _connect_and_stay(self, host: str, port: int) -> tuple["_UplinkTrouble", int, bool]:
        """One connection from its first look-up to its end.

        Gives back why it ended, for how long it had stood accepted, and whether it had carried lines.
        """
        options = self._options
        self._change(UplinkPhase.CONNECTING, server=address_of(host, port), trouble=self._standing.trouble)
        try:
            sock = await dial(
                host,
                port,
                seconds=options.connect_ms / 1000,
                send_buffer_octets=options.send_buffer_bytes,
                unacknowledged_ms=options.freshness_ms,
            )
        except DialError as error:
            return _UplinkTrouble(str(error)), 0, False
        if self._stopped.is_set():
            sock.close()
            return _NONE, 0, False
        session = Session(
            self._login,
            opened_ms=self._clock(),
            login_ms=min(options.login_ms, options.freshness_ms),  # lines wait meanwhile: a mute server costs no more
            silence_ms=options.silence_ms,
            unverified_ms=options.unverified_ms,
        )
        link = self._link = Link(session, clock=self._clock, on_event=self._on_event, on_writable=self._send_what_waits)
        connection = self._crossing.connection = link.connection
        self._change(UplinkPhase.LOGGING_IN, trouble=self._standing.trouble)
        try:
            await asyncio.get_running_loop().create_connection(lambda: link, sock=sock)
            await link.ended.wait()
        finally:
            connection.end("the gateway stops")
            await link.ended.wait()
            self._totals = self._totals.with_connection(connection)
            self._link = self._crossing.connection = None
        refused = session.answered and not session.accepted
        trouble = _UplinkTrouble(connection.reason, session.remark, login_refused=refused)
        return trouble, self._clock() - self._standing.since_ms if session.accepted else 0, connection.carried_lines

    async def _stay_away(self, trouble: "_UplinkTrouble", stood_ms: int, *, worked: bool) -> None:
        if self._stopped.is_set():
            return
        seconds = self._back_off.failed(stood_ms / 1000, worked=worked)
        self._change(UplinkPhase.WAITING, trouble=trouble)
        # A server that words each refusal anew does not fill the log.
        say = _log.debug if trouble.what == self._logged_trouble else _log.warning
        self._logged_trouble = trouble.what
        say("uplink is down", server=self._standing.server, reason=str(trouble), next_attempt_s=round(seconds, 1))
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._stopped.wait()

    def _on_event(self, event: Event) -> None:
        if not isinstance(event, LoginAnswered):
            return
        if self._login.receive_only:
            self._change(UplinkPhase.RECEIVE_ONLY, server_name=event.server)
            _log.info("uplink is up, to receive only", server=self._standing.server, name=event.server)
        elif event.verified:
            self._change(UplinkPhase.VERIFIED, server_name=event.server)
            _log.info("uplink is up", server=self._standing.server, name=event.server)
            self._said_unverified = False
            self._send_what_waits()
        else:
            remark = self._link.connection.session.remark if self._link is not None else ""
            trouble = _UplinkTrouble(NOT_ACCEPTED, remark, login_refused=True)
            self._change(UplinkPhase.UNVERIFIED, server_name=event.server, trouble=trouble)
            self._crossing.give_up_refused()
            self._say_unverified(event.server)
            return
        self._logged_trouble = ""

    def _say_unverified(self, name: str) -> None:
        """Loudly, and once until a login is verified again."""
        say = _log.debug if self._said_unverified else _log.error
        self._said_unverified = True
        say(
            "the network does not accept the login: nothing is sent, everything else goes on",
            server=self._standing.server,
            name=name,
            callsign=self._options.callsign,
            what_to_do=LOGIN_REFUSED_ADVICE,
        )

    def _stop(self) -> None:
        """Nothing is sent from here on; what waits is `stopped`."""
        if self._stopped.is_set():
            return
        self._stopped.set()
        if self._link is not None:
            if self._link.connection.oldest_in_flight_ms() is None:
                self._link.close("the gateway stops")
            else:
                self._link.connection.end("the gateway stops")
        if self._watch is not None:
            self._watch.cancel()
        self._crossing.stop()
        self._change(UplinkPhase.STOPPED, trouble=_UplinkTrouble("the gateway stops"))

    def _change(
        self,
        phase: UplinkPhase,
        *,
        server: str | None = None,
        server_name: str = "",
        trouble: "_UplinkTrouble | None" = None,
    ) -> None:
        server = self._standing.server if server is None else server
        self._standing = _UplinkStanding(phase, self._clock(), server, server_name, trouble or _NONE)
        if self._on_change is not None:
            self._on_change(self.state())


@dataclass(frozen=True, slots=True)
class _UplinkTrouble:
    """Why nothing can be sent: `reason`, `remark` and `login_refused` of `UplinkState`."""

    what: str = ""
    """In our own words."""

    remark: str = ""
    login_refused: bool = False

    def __str__(self) -> str:
        return f"{self.what}; the server said: {self.remark}" if self.remark else self.what


_NONE = _UplinkTrouble()


@dataclass(frozen=True, slots=True)
class _UplinkStanding:
    """Where the uplink stands, and since when: see `UplinkState`."""

    phase: UplinkPhase
    since_ms: int
    server: str = ""
    server_name: str = ""
    trouble: _UplinkTrouble = _NONE


@dataclass(frozen=True, slots=True)
class _Totals:
    """Counts over all connections: see `UplinkState`."""

    connections: int = 0
    unconfirmed: int = 0
    bytes_sent: int = 0
    comments: int = 0
    lines_discarded: int = 0
    last_heard_ms: int | None = None

    def with_connection(self, connection: Connection) -> "_Totals":
        """These, and those of one more connection."""
        session = connection.session
        return _Totals(
            connections=self.connections + 1,
            unconfirmed=self.unconfirmed + connection.unconfirmed,
            bytes_sent=self.bytes_sent + connection.octets_sent,
            comments=self.comments + session.comments,
            lines_discarded=self.lines_discarded + session.lines_discarded,
            last_heard_ms=self.last_heard_ms if session.last_heard_ms is None else session.last_heard_ms,
        )
