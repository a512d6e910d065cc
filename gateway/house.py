"""The house's side of the gateway: everything that is told of what is heard, made from the station file and run as one.

One payload is made for each frame and shared by all; the station memory is told first. Nothing here ever makes the
uplink wait: offers return at once, and each part runs, sheds and says so by itself.
"""

import asyncio
import contextlib
import traceback
from collections.abc import AsyncIterator, Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import structlog

from gateway.bus.bus import Bus
from gateway.bus.options import BusOptions, DiscoveryOptions, Tls
from gateway.documents import DocumentError
from gateway.feed.health import Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.judge.verdict import Judged
from gateway.part import Part, PartKind, State
from gateway.receivers.address import Scheme
from gateway.remembered import Remembered
from gateway.settings import BusSettings, JournalSettings, LinesSettings, StationFile, WebSettings
from gateway.uplink.outbox import Departure
from gateway.watches.watches import Watches

if TYPE_CHECKING:
    from gateway.journal.journal import Journal
    from gateway.lines.server import LineServer
    from gateway.web.server import WebServer
    from gateway.web.sources import PublishedPolicy

FLOOD_FRAMES = 50
"""More than one read of a radio channel's decoder ever brings: about ten seconds of the busiest channel."""

FLOOD_MS = 50
"""For how long after such a read more of the same is expected."""

_log = structlog.get_logger("stile")


class Sink(Protocol):
    """One that is told of everything, and never makes anyone wait."""

    def offer_heard(self, payload: HeardPayload) -> None:
        """A frame was heard and judged; the station memory knows it already."""

    def offer_forwarded(self, payload: HeardPayload, line: bytes, sent_at_ms: int) -> None:
        """The line of a frame was sent, at a Unix time in milliseconds."""


class Runner(Sink, Protocol):
    """A sink that has work of its own to do, and takes its leave at the end."""

    async def run(self) -> None:
        """Work for ever."""

    async def drain(self, seconds: float) -> None:
        """Finish what waits, within the time; `run` then returns."""


@dataclass(frozen=True, slots=True)
class Asked:
    """What parts of the house ask of the service when somebody wants to know."""

    health: Callable[[], Health]
    policy: Callable[[], "PublishedPolicy"]
    waits_for: Callable[[], Sequence[str]]


class House:
    """All sinks of one gateway."""

    def __init__(
        self, station: StationFile, run: Run, asked: Asked, *, policy: str, sinks: Sequence[Sink] = ()
    ) -> None:
        """`policy` is the label of the one in force; `sinks` are told besides those of the station file."""
        settings = station.settings
        limits = settings.bus.stations if settings.bus else None
        listed = settings.bus.discovery.callsigns if settings.bus and settings.bus.discovery else ()
        self.stations = Stations(limits.limit, limits.forget, listed) if limits else Stations()
        self._station = station
        self._frames = run
        self.reader = ReportReader(settings.post)
        receivers = [receiver.name for receiver in settings.receivers if receiver.address.scheme is not Scheme.FILE]
        self.watches = Watches(settings.alerts, receivers, settings.post, self.reader, run.now())
        self.bus = self._make_bus(settings.bus) if settings.bus else None
        self.lines = self._make_lines(settings.lines) if settings.lines else None
        self.web = self._make_web(settings.web, asked) if settings.web else None
        self.journal = self._make_journal(settings.journal, policy) if settings.journal else None
        captures = self._make_captures(settings.journal) if settings.journal else None
        made = (self.bus, self.lines, self.web, self.journal, captures)
        self._runners: list[Runner] = [runner for runner in made if runner is not None]
        self._sinks: list[Sink] = [*sinks, *self._runners]
        self.failed = 0
        """Frames of which the house was not told, by a fault of the gateway's own."""

        self._failed_said = 0
        self._busy_until_ms = 0
        self._troubles: dict[PartKind, tuple[str, int]] = {}
        """What keeps those that listen on a port from it, and since when."""

    def payload(self, judged: Judged) -> HeardPayload:
        """What everybody is told of a frame."""
        return HeardPayload(judged, self.reader)

    def tell(self, payloads: Sequence[HeardPayload]) -> None:
        """What one read of one receiver brought was judged: everybody is told."""
        if len(payloads) >= FLOOD_FRAMES:
            self._busy_until_ms = payloads[0].judged.heard.moment.elapsed_ms + FLOOD_MS
        if not self._sinks:  # nobody sees anything of it but the log, and there only what raises an alert
            payloads = [payload for payload in payloads if payload.judged.counts_as_emergency]
        if not payloads:
            return
        with self._shielded(len(payloads)):
            for payload in payloads:
                self.reader.hear(payload.judged)
                self.stations.hear(payload)
            for alert in self.watches.heard([payload.judged for payload in payloads]):
                self._raise(alert)
        for sink in self._sinks:
            with self._shielded(len(payloads)):
                for payload in payloads:
                    sink.offer_heard(payload)

    def tell_sent(self, sent: Sequence[Departure], sent_at_ms: int) -> None:
        """The lines of these frames were sent; each ticket is the payload of its frame."""
        for sink in self._sinks:
            with self._shielded(len(sent)):
                for departure in sent:
                    if isinstance(departure.ticket, HeardPayload):
                        sink.offer_forwarded(departure.ticket, departure.line, sent_at_ms)

    @contextlib.contextmanager
    def _shielded(self, frames: int) -> Iterator[None]:
        """No fault of ours in what the house is told may keep frames from the network: it is counted and said."""
        try:
            yield
        except Exception as error:  # noqa: BLE001 - see above
            if not self.failed:
                place = traceback.extract_tb(error.__traceback__)[-1]  # not the message: it may hold text from the air
                where = f"{place.name}, line {place.lineno}"
                _log.error(
                    "a fault of the gateway's own: the house was not told", error=type(error).__name__, where=where
                )
            self.failed += frames

    def tell_health(self, health: Health) -> None:
        """How the post is now."""
        if self.bus is None and self.web is None:
            return
        plain = health.to_object()
        for part in (self.bus, self.web):
            if part is not None:
                part.offer_health(plain)

    def _raise(self, alert: PlainObject) -> None:
        """The operator wants to know of this at once."""
        _log.warning("alert", name=alert["name"], what=alert["what"])
        for part in (self.bus, self.web):
            if part is not None:
                part.offer_alert(alert)

    def is_busy(self) -> bool:
        """Whether frames come in floods: then the house takes less of the one core, so that the uplink has it."""
        return self._frames.now().elapsed_ms < self._busy_until_ms

    def tick(self) -> None:
        """What is due from time to time."""
        moment = self._frames.now()
        self.stations.forget(moment.elapsed_ms)
        with self._shielded(0):
            for alert in self.watches.tick(moment):
                self._raise(alert)
        if self.failed != self._failed_said:
            _log.error("the house was not told of frames", count=self.failed - self._failed_said)
            self._failed_said = self.failed

    def memories(self) -> Sequence[Remembered[HeardPayload]]:
        """What is to be known again after a restart."""
        return [self.reader, *self.watches.memories()]

    def parts(self) -> list[Part]:
        """How each of them fares."""
        parts = [self.bus.part()] if self.bus else []
        if self.lines is not None:
            parts.append(self._listening_part(PartKind.LINES, self.lines.state().trouble))
        if self.web is not None:
            parts.append(self._listening_part(PartKind.WEB, self.web.state().trouble))
        return [*parts, self.journal.part()] if self.journal else parts

    def _listening_part(self, kind: PartKind, trouble: str) -> Part:
        """One that listens on a port, or says in `trouble` why it cannot."""
        known = self._troubles.get(kind)
        if known is None or known[0] != trouble:
            known = self._troubles[kind] = (trouble, self._frames.now().time_ms)
        remedy = "see what else listens there, or listen at another port" if trouble else ""
        return Part(kind, kind, State.DOWN if trouble else State.OK, known[1], trouble, remedy)

    def shed(self) -> dict[str, dict[str, int]]:
        """By part, what was dropped since it could not keep up."""
        return {"bus": self.bus.state().shed} if self.bus else {}

    def start(self, tasks: asyncio.TaskGroup) -> list[asyncio.Task[None]]:
        """Let everybody work."""
        return [tasks.create_task(runner.run(), name=type(runner).__name__) for runner in self._runners]

    async def drain(self, seconds: float) -> None:
        """Let everybody finish, at the same time."""
        await asyncio.gather(*(runner.drain(seconds) for runner in self._runners))

    @contextlib.asynccontextmanager
    async def broker(self) -> AsyncIterator[None]:
        """The broker in the process, where the station file asks for one. Raises `DocumentError`."""
        bus = self._station.settings.bus
        if bus is None or not bus.embedded:
            yield
            return
        from gateway.bus.embedded import EmbeddedBroker, EmbeddedBrokerError  # noqa: PLC0415 - it needs an extra

        async with contextlib.AsyncExitStack() as lifetime:
            try:
                broker = await lifetime.enter_async_context(EmbeddedBroker(bus.address[1]))
            except EmbeddedBrokerError as error:
                raise DocumentError([self._station.document.problem(("bus", "broker"), str(error))]) from None
            _log.info("broker started", address=f"mqtt://127.0.0.1:{broker.port}")
            yield

    def _make_bus(self, bus: BusSettings) -> Bus:
        host, port = bus.address
        folder = self._station.folder
        files = (folder / path if path else None for path in (bus.ca, bus.certificate, bus.key))
        password = self._station.bus_password
        options = BusOptions(
            host=host,
            port=port,
            callsign=self._station.settings.station.callsign,
            base=bus.base,
            tls=Tls(*files) if bus.tls else None,
            username=bus.username,
            password=password.get_secret_value() if password else None,
            mqtt_5=not bus.embedded,  # the broker in the process speaks 3.1.1
            discovery=DiscoveryOptions(bus.discovery.prefix, tuple(bus.discovery.callsigns)) if bus.discovery else None,
            stations_limit=bus.stations.limit,
            stations_forget_ms=bus.stations.forget,
        )
        return Bus(options, self._frames.now, stations=self.stations, busy=self.is_busy)

    def _make_lines(self, lines: LinesSettings) -> "LineServer":
        from gateway.lines.options import LinesOptions  # noqa: PLC0415 - loaded where it is asked for
        from gateway.lines.server import LineServer  # noqa: PLC0415 - loaded where it is asked for

        return LineServer(LinesOptions(lines.listen.host, lines.listen.port), busy=self.is_busy)

    def _make_web(self, web: WebSettings, asked: Asked) -> "WebServer":
        from gateway.web.options import WebOptions  # noqa: PLC0415 - aiohttp is loaded where it is asked for
        from gateway.web.server import WebServer  # noqa: PLC0415 - see above
        from gateway.web.sources import WebSources  # noqa: PLC0415 - see above

        token = self._station.web_token
        options = WebOptions(
            callsign=self._station.settings.station.callsign,
            host=web.listen.host,
            port=web.listen.port,
            token=token.get_secret_value() if token else None,
            hosts=tuple(web.hosts),
        )
        sources = WebSources(
            health=asked.health,
            stations=lambda: self.stations,
            policy=asked.policy,
            waits_for=asked.waits_for,
        )
        return WebServer(options, sources, self._frames.now, self._frames.identity, busy=self.is_busy)

    def _make_journal(self, journal: JournalSettings, policy: str) -> "Journal":
        from gateway.journal.journal import Journal  # noqa: PLC0415 - loaded where it is asked for
        from gateway.journal.options import JournalOptions  # noqa: PLC0415 - see above

        options = JournalOptions(self._station.folder / journal.path, keep_ms=journal.keep)
        return Journal(options, self._frames, callsign=self._station.settings.station.callsign, policy=policy)

    def _make_captures(self, journal: JournalSettings) -> Runner | None:
        if journal.captures is None:
            return None
        from gateway.journal.capture import Captures  # noqa: PLC0415 - loaded where it is asked for
        from gateway.journal.options import CaptureOptions  # noqa: PLC0415 - see above

        return Captures(CaptureOptions(self._station.folder / journal.captures), self._frames)
