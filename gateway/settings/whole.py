"""A whole station file, and what its sections must be to one another."""

from collections.abc import Iterator
from itertools import chain
from typing import NamedTuple

from pydantic import Field

from gateway.alerts.entry import Alert
from gateway.alerts.entry import problems as alert_problems
from gateway.documents import Document, Place, Problem
from gateway.documents.values import Section
from gateway.groundwork.loopback import is_loopback
from gateway.judge.conditions import Post
from gateway.receivers.address import HostPort, Scheme
from gateway.settings.bus import BusSettings
from gateway.settings.club import ClubSettings
from gateway.settings.home import JournalSettings, LinesSettings, WebSettings
from gateway.settings.station import ReceiverSettings, StationSettings
from gateway.settings.uplink import UplinkSettings

MOST_RECEIVERS = 256
MOST_ALERTS = 1000

_EVERY_ADDRESS = frozenset({"0.0.0.0", "::"})  # noqa: S104 - compared with, not listened at


class Settings(Section):
    """A whole station file. A section left out is off."""

    station: StationSettings
    receivers: list[ReceiverSettings] = Field(default_factory=list, max_length=MOST_RECEIVERS)
    policy: str = "receive-only"
    uplink: UplinkSettings | None = None
    bus: BusSettings | None = None
    lines: LinesSettings | None = None
    web: WebSettings | None = None
    journal: JournalSettings | None = None
    club: ClubSettings | None = None
    alerts: list[Alert] = Field(default_factory=list, max_length=MOST_ALERTS)

    @property
    def post(self) -> Post:
        """Where and as whom the gateway listens."""
        position = self.station.position
        latitude, longitude = position.degrees if position else (None, None)
        return Post(self.station.callsign, latitude, longitude)

    @property
    def receiver_names(self) -> list[str]:
        """What the receivers are called."""
        return [receiver.name for receiver in self.receivers]


class Port(NamedTuple):
    """A port that the gateway listens at."""

    place: Place
    """Where the station file says so."""

    kind: str
    """Those of UDP and those of TCP are two."""

    host: str
    number: int


def ports(settings: Settings) -> Iterator[Port]:
    """Every port that the gateway is to listen at, but for those that the system chooses."""
    if settings.lines is not None:
        yield Port(("lines", "listen"), "tcp", *settings.lines.listen)
    if settings.web is not None:
        yield Port(("web", "listen"), "tcp", *settings.web.listen)
    if settings.bus is not None and settings.bus.embedded and settings.bus.address[1]:
        yield Port(("bus", "broker"), "tcp", *settings.bus.address)
    if settings.club is not None and settings.club.embedded:
        yield Port(("club", "servers", 0), "tcp", "127.0.0.1", settings.club.embedded_port)
    for position, receiver in enumerate(settings.receivers):
        if receiver.address.scheme.listens and isinstance(receiver.address.place, HostPort):
            there = receiver.address.place
            yield Port(("receivers", position, "from"), "udp", there.host, there.port)


def problems(document: Document, settings: Settings) -> list[Problem]:
    """What is wrong between sections."""
    return [
        *chain(
            _names_twice(document, settings),
            _captures_sent_up(document, settings),
            _bad_alerts(document, settings),
            _ports_twice(document, settings),
            _club_roles(document, settings),
        )
    ]


def _names_twice(document: Document, settings: Settings) -> Iterator[Problem]:
    names = settings.receiver_names
    for position, name in enumerate(names):
        if name in names[:position]:
            yield document.problem(
                ("receivers", position, "name"), f"two receivers are called {name}: give each a name of its own"
            )


def _club_roles(document: Document, settings: Settings) -> Iterator[Problem]:
    club = settings.club
    if not settings.receivers and (club is None or club.role != "hub"):
        yield document.problem(("receivers",), "name one or more receivers: only a hub of a club needs none")
    if club is not None and club.role == "post" and settings.uplink is not None:
        what = "a post of a club has no uplink: its hubs send what goes up; take `uplink:` out, or be a hub"
        yield document.problem(("uplink",), what)


def _bad_alerts(document: Document, settings: Settings) -> Iterator[Problem]:
    located = settings.station.position is not None
    for place, what in alert_problems(settings.alerts, settings.receiver_names, located=located):
        yield document.problem(("alerts", *place), what)


def _captures_sent_up(document: Document, settings: Settings) -> Iterator[Problem]:
    """A capture is stamped as heard now: it may go to a server on this machine, and to no other."""
    hosts = [host for host, _ in settings.uplink.addresses] if settings.uplink else []
    afar = next((host for host in hosts if not is_loopback(host)), None)
    for position, receiver in enumerate(settings.receivers):
        if afar is not None and receiver.address.scheme is Scheme.FILE:
            yield document.problem(
                ("receivers", position, "from"),
                f"a capture is stamped as heard now, so with an uplink to {afar} old positions would go up as new;"
                " leave `uplink:` out, or play the capture to a server on loopback",
            )


def _ports_twice(document: Document, settings: Settings) -> Iterator[Problem]:
    taken: list[Port] = []
    for port in ports(settings):
        other = next((other for other in taken if _are_one(port, other)), None)
        if other is not None:
            there = document.problem(other.place, "")
            what = f"port {port.number} is the one of {there.key}, line {there.line}: give each a port of its own"
            yield document.problem(port.place, what)
        taken.append(port)


def _are_one(port: Port, other: Port) -> bool:
    """Whether two cannot both be listened at; what names mean is not looked up."""
    if (port.kind, port.number) != (other.kind, other.number):
        return False
    hosts = {port.host.lower(), other.host.lower()}
    by_name = "localhost" in hosts and all(map(is_loopback, hosts))
    return len(hosts) == 1 or by_name or not hosts.isdisjoint(_EVERY_ADDRESS)
