"""Makes the sinks that a station file asks for: the bus, the text port, the web, the journal and the captures.

What a sink needs is loaded where it is asked for: a post without a web loads no web server.
"""

import contextlib
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import structlog

from gateway.feed.health import Health
from gateway.feed.sink import RunningSink
from gateway.frames.heard import Run
from gateway.judge.source import PolicySource
from gateway.reports.distance import Origin
from gateway.running.house import House
from gateway.settings import DocumentError, StationFile

if TYPE_CHECKING:
    from gateway.bus.bus import Bus
    from gateway.journal.capture import CaptureKeeper
    from gateway.journal.journal import Journal
    from gateway.lines.server import LineServer
    from gateway.web.server import WebServer

_log = structlog.get_logger("stile")


@dataclass(frozen=True, slots=True)
class Asked:
    """What the web asks of the service when somebody wants to know."""

    health: Callable[[], Health]
    policy: Callable[[], PolicySource]
    """The one in force."""

    refused_policy: Callable[[], str]
    waits_for: Callable[[], Sequence[str]]


class Sinks:
    """The sinks of one station file, in the order in which they are told; None for what it leaves out."""

    def __init__(self, station: StationFile, run: Run, house: House, asked: Asked, *, policy: str) -> None:
        """`policy` is the label of the one in force."""
        self.bus = _make_bus(station, run, house)
        self.lines = _make_lines(station, run, house)
        self.web = _make_web(station, run, house, asked)
        self.journal = _make_journal(station, run, policy, house.reader.origin)
        self.captures = _make_captures(station, run)

    @property
    def made(self) -> list[RunningSink]:
        """Those that there are."""
        sinks = (self.bus, self.lines, self.web, self.journal, self.captures)
        return [sink for sink in sinks if sink is not None]


@contextlib.asynccontextmanager
async def broker(station: StationFile) -> AsyncIterator[None]:
    """The broker in the process, where the station file asks for one. Raises `DocumentError`."""
    bus, options = station.settings.bus, station.bus
    if bus is None or options is None or not bus.embedded:
        yield
        return
    from gateway.bus.embedded import EmbeddedBroker, EmbeddedBrokerError  # noqa: PLC0415 - it needs an extra

    async with contextlib.AsyncExitStack() as lifetime:
        try:
            embedded = await lifetime.enter_async_context(EmbeddedBroker(bus.address[1], options.own_topics))
        except EmbeddedBrokerError as error:
            raise DocumentError([station.document.problem(("bus", "broker"), str(error))]) from None
        _log.info("broker started", address=f"mqtt://127.0.0.1:{embedded.port}")
        yield


def _make_bus(station: StationFile, run: Run, house: House) -> "Bus | None":
    options = station.bus
    if options is None:
        return None
    from gateway.bus.bus import Bus  # noqa: PLC0415 - loaded where it is asked for

    return Bus(options, run.now, stations=house.stations, read=house.reader, busy=house.is_busy)


def _make_lines(station: StationFile, run: Run, house: House) -> "LineServer | None":
    options = station.lines
    if options is None:
        return None
    from gateway.lines.server import LineServer  # noqa: PLC0415 - loaded where it is asked for

    return LineServer(options, lambda: run.now().time_ms, busy=house.is_busy)


def _make_web(station: StationFile, run: Run, house: House, asked: Asked) -> "WebServer | None":
    options = station.web
    if options is None:
        return None
    from gateway.running.what_if import WhatIf  # noqa: PLC0415 - see below
    from gateway.web.knowledge import Knowledge  # noqa: PLC0415 - see below
    from gateway.web.server import WebServer  # noqa: PLC0415 - aiohttp is loaded where it is asked for
    from gateway.web.sources import WebSources  # noqa: PLC0415 - see above

    journal, post = station.journal, station.settings.post
    sources = WebSources(
        health=asked.health,
        stations=lambda: house.stations,
        policy=asked.policy,
        refused_policy=asked.refused_policy,
        waits_for=asked.waits_for,
        past=Knowledge(journal.path if journal else None, house.reader, lambda: asked.policy().compiled(post)),
        alerts=lambda: house.watches.alerts.raised(run.now()),
        what_if=WhatIf(journal.path if journal else None, post, asked.policy),
    )
    return WebServer(options, sources, run.now, run.identity, busy=house.is_busy)


def _make_journal(station: StationFile, run: Run, policy: str, origin: Origin | None) -> "Journal | None":
    options = station.journal
    if options is None:
        return None
    from gateway.journal.journal import Journal  # noqa: PLC0415 - loaded where it is asked for

    return Journal(options, run, callsign=station.settings.station.callsign, policy=policy, origin=origin)


def _make_captures(station: StationFile, run: Run) -> "CaptureKeeper | None":
    options = station.captures
    if options is None:
        return None
    from gateway.journal.capture import CaptureKeeper  # noqa: PLC0415 - loaded where it is asked for

    return CaptureKeeper(options, run)
