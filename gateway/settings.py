"""The station file as pydantic models, read with the place of every mistake. Secrets are read from where it says."""

import os
import re
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, NamedTuple, Self
from urllib.parse import SplitResult, urlsplit

from pydantic import (
    AfterValidator,
    BeforeValidator,
    ConfigDict,
    Field,
    SecretStr,
    field_validator,
    model_validator,
)

from gateway.alerts.entry import Alert
from gateway.alerts.entry import problems as alert_problems
from gateway.club.subjects import Subjects
from gateway.documents import Document, DocumentError, Problem, check, parse, read_text
from gateway.documents.values import Duration, Name, Section, between, fits
from gateway.duration import DAY_MS
from gateway.frames.header import is_network_callsign
from gateway.judge.conditions import Post
from gateway.loopback import is_loopback
from gateway.receivers.address import ReceiverAddress, Scheme, allowed_senders
from gateway.receivers.address import parse as parse_receiver_address
from gateway.reports import locator
from gateway.uplink import passcode as passcodes

if TYPE_CHECKING:
    from gateway.club.options import ClubOptions

PASSCODE_VARIABLE = "STILE_PASSCODE"
RECEIVE_ONLY_PASSCODE = -1
HIGHEST_PASSCODE = 32_767
NETWORK_PORT = 14580
"""Of the network's user-filtered service (IS-Connect)."""

MQTT_PORT = 1883
MQTTS_PORT = 8883
LINES_PORT = 7582
WEB_PORT = 7583
HIGHEST_PORT = 65_535
MAXIMUM_SECRET = 4096


ENGINE_PORT = 4222
"""Of the club's engine, by its own custom."""

MOST_ENGINES = 16
_MEMBER = r"[a-z0-9][a-z0-9-]{0,31}"
_NO_MEMBER = "is no name in a club: write small letters, digits and hyphens, no more than 32"
_TOPIC = r"[^/+#\x00-\x1f\x7f]+(?:/[^/+#\x00-\x1f\x7f]+)*"


def _split(address: str, schemes: Mapping[str, int], example: str) -> tuple[str, int]:
    """Host and port of a URL with one of the schemes, each with its usual port. Raises `ValueError`."""
    if "@" in address:  # the text of an address is logged and shown: a password in it would be, too
        raise ValueError(f"an address holds no user and no password; write it as {example}")
    try:
        parts: SplitResult = urlsplit(address)
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")
    except ValueError:  # UnicodeError is one
        host = None
    more = host is not None and (parts.path.strip("/") or parts.query or parts.fragment)
    if not host or more or port == 0 or parts.scheme not in schemes or not address.isprintable() or " " in address:
        raise ValueError(f"{address!r} is no address; write it as {example}")
    return host, port or schemes[parts.scheme]


class Position(Section):
    """Where the antenna is."""

    latitude: Annotated[float, Field(ge=-90, le=90)] | None = None
    longitude: Annotated[float, Field(ge=-180, le=180)] | None = None
    locator: str | None = None

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        plain = (self.latitude is not None) + (self.longitude is not None)
        if (plain, self.locator is not None) not in {(2, False), (0, True)}:
            raise ValueError("give latitude and longitude in degrees, or a locator")
        if self.locator is not None and not locator.is_locator(self.locator):
            raise ValueError(f"{self.locator!r} is no locator; write it as IO88AO")
        return self

    @property
    def degrees(self) -> tuple[float, float]:
        """WGS 84 latitude and longitude."""
        if self.latitude is not None and self.longitude is not None:
            return self.latitude, self.longitude
        cell = locator.read(self.locator or "")
        return cell.latitude, cell.longitude


class StationSettings(Section):
    """Who and where."""

    callsign: str
    position: Position | None = None

    @field_validator("callsign")
    @classmethod
    def _proper(cls, callsign: str) -> str:
        if not is_network_callsign(callsign):
            raise ValueError(f"{callsign!r} is no callsign for the network: 1-9 letters and digits, one hyphen at most")
        if re.fullmatch(r"[0-9A-Fa-f]{8}", callsign):
            raise ValueError("a callsign of exactly eight hexadecimal digits cannot log in (IS-Q)")
        return callsign.upper().removesuffix("-0")  # SSID 0 is not written on the network


def _receiver_address(value: object) -> ReceiverAddress:
    if isinstance(value, ReceiverAddress):
        return value
    if not isinstance(value, str):
        raise ValueError("a receiver's address belongs here, as kiss+tcp://127.0.0.1:7581")  # noqa: TRY004 - pydantic's way
    return parse_receiver_address(value)


class ReceiverSettings(Section):
    """One decoder's socket."""

    model_config = ConfigDict(arbitrary_types_allowed=True)

    name: Name
    address: Annotated[ReceiverAddress, BeforeValidator(_receiver_address), Field(alias="from")]
    allow: list[str] = []

    @model_validator(mode="after")
    def _fits(self) -> Self:
        allowed_senders(self.address, self.allow)
        return self


def _without_its_command(text: str) -> str:
    """Refuse a filter that begins with the word that the login line has before it anyway."""
    command, _, filters = text.strip().partition(" ")
    if command.lower().lstrip("#") == "filter":
        raise ValueError(
            f"the word filter is not wanted here: write {filters.strip() or 'm/50, or what else is wanted'}"
        )
    return text


class UplinkSettings(Section):
    """The connection to the network."""

    servers: Annotated[list[str], Field(min_length=1)]
    passcode_file: Path | None = None
    filter: Annotated[
        str,
        AfterValidator(fits(r"[ -~]{0,400}", "is no filter: one line of ASCII, 400 at most")),
        AfterValidator(_without_its_command),
    ] = ""
    freshness: Annotated[Duration, between("1s", "60s")] = 10_000
    silence: Annotated[Duration, between("30s", "10m")] = 90_000

    @field_validator("servers")
    @classmethod
    def _proper(cls, servers: list[str]) -> list[str]:
        for server in servers:
            _split(server, {"tcp": NETWORK_PORT}, "tcp://server.example:14580")
        return servers

    @property
    def addresses(self) -> tuple[tuple[str, int], ...]:
        """Host and port of each server, in the order in which they are tried."""
        return tuple(_split(server, {"tcp": NETWORK_PORT}, "") for server in self.servers)


class StationTopics(Section):
    """How many stations are kept on the bus, and for how long after each was last heard."""

    limit: Annotated[int, Field(strict=True, ge=1, le=100_000)] = 5000
    forget: Annotated[Duration, between("1m", "366d")] = DAY_MS


class DiscoverySettings(Section):
    """What a home-automation hub on the bus is told of: the gateway itself, and the stations listed here alone."""

    prefix: Annotated[str, AfterValidator(fits(_TOPIC, "is no topic: no + and no #"))] = "homeassistant"
    callsigns: list[str] = []

    @field_validator("callsigns")
    @classmethod
    def _proper(cls, callsigns: list[str]) -> list[str]:
        for callsign in callsigns:
            if not is_network_callsign(callsign):
                raise ValueError(f"{callsign!r} is no callsign: write one, as QA1BCD-9, not a pattern")
        return [callsign.upper().removesuffix("-0") for callsign in callsigns]


class BusSettings(Section):
    """The MQTT broker in the house."""

    broker: str
    base: Annotated[
        str, AfterValidator(fits(_TOPIC, "is no start of a topic: write words with / between, no + and #"))
    ] = "stile"
    username: str | None = None
    password_file: Path | None = None
    ca: Path | None = None
    certificate: Path | None = None
    key: Path | None = None
    discovery: DiscoverySettings | None = None
    stations: StationTopics = StationTopics()

    @model_validator(mode="after")
    def _fits(self) -> Self:
        host, _ = self.address
        if (self.ca or self.certificate or self.key) and not self.tls:
            raise ValueError("ca, certificate and key are for a broker at mqtts://")
        if (self.key is None) != (self.certificate is None):
            raise ValueError("certificate and key go together")
        if self.password_file and not self.tls and not self.embedded and not is_loopback(host):
            raise ValueError(f"a password would go to {host} in the clear; use mqtts://")
        return self

    @property
    def embedded(self) -> bool:
        """Whether a broker is to be started in the process, on loopback."""
        return self.broker.partition(":")[0] == "embedded"

    @property
    def tls(self) -> bool:
        """Whether the connection is encrypted."""
        return self.broker.lower().startswith("mqtts://")

    @property
    def address(self) -> tuple[str, int]:
        """Host and port. Raises `ValueError`."""
        if self.embedded:
            _, colon, port = self.broker.partition(":")
            if colon and not (port.isdecimal() and 0 <= int(port) <= HIGHEST_PORT):
                raise ValueError(f"{self.broker!r}: write `embedded`, or `embedded:1883` with another port")
            return "127.0.0.1", int(port) if colon else MQTT_PORT
        schemes = {"mqtt": MQTT_PORT, "mqtts": MQTTS_PORT}
        return _split(self.broker, schemes, "mqtt://127.0.0.1:1883, mqtts://broker.example:8883 or embedded")


class Listen(NamedTuple):
    """Where a service of the gateway's own listens."""

    host: str
    port: int


def _listen(default_port: int) -> BeforeValidator:
    def read_it(value: object) -> object:
        if isinstance(value, str):
            with suppress(ValueError):
                return Listen(*_split(f"tcp://{value}", {"tcp": default_port}, ""))
        raise ValueError(f"{value!r} is no place to listen at; write it as 127.0.0.1:{default_port}")

    return BeforeValidator(read_it)


class LinesSettings(Section):
    """The text port: monitor text of everything heard, for programs that read it."""

    listen: Annotated[Listen, _listen(LINES_PORT)] = Listen("127.0.0.1", LINES_PORT)


class WebSettings(Section):
    """The page, the API and the metrics."""

    listen: Annotated[Listen, _listen(WEB_PORT)] = Listen("127.0.0.1", WEB_PORT)
    token_file: Path | None = None
    hosts: list[str] = []

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.token_file is None and not is_loopback(self.listen.host):
            raise ValueError(
                f"{self.listen.host} can be reached from other computers: name a file with a secret in token_file,"
                " or listen on 127.0.0.1"
            )
        return self


class JournalSettings(Section):
    """What is remembered on disk."""

    path: Path
    keep: Annotated[Duration, between("1h", "3660d")] = 30 * DAY_MS
    captures: Path | None = None
    """A folder for captures, beside the journal; none are written if left out."""


class ClubSettings(Section):
    """This station's part in a club of posts: the engine that they share, and what it is there."""

    name: Annotated[str, AfterValidator(fits(_MEMBER, _NO_MEMBER))]
    servers: Annotated[list[str], Field(min_length=1, max_length=MOST_ENGINES)]
    credentials_file: Path | None = None
    user: str | None = None
    password_file: Path | None = None
    ca: Path | None = None
    role: Literal["post", "hub"]
    post: Annotated[str, AfterValidator(fits(_MEMBER, _NO_MEMBER))] | None = None
    lease: Annotated[Duration, between("2s", "60s")] = 6000
    freshness: Annotated[Duration, between("1s", "60s")] = 10_000

    @model_validator(mode="after")
    def _fits(self) -> Self:
        if self.embedded and len(self.servers) > 1:
            raise ValueError("an embedded engine is one server: name no other beside it")
        if self.credentials_file is not None and (self.user is not None or self.password_file is not None):
            raise ValueError("give credentials_file, or user and password_file")
        if (self.user is None) != (self.password_file is None):
            raise ValueError("user and password_file go together")
        for scheme, host, _ in self.addresses:
            if self.password_file is not None and scheme != "tls" and not is_loopback(host):
                raise ValueError(f"a password would go to {host} in the clear; use tls://")
            if self.ca is not None and scheme != "tls":
                raise ValueError("ca is for engines at tls://")
        return self

    @property
    def embedded(self) -> bool:
        """Whether the engine is to be started in a child process, on loopback."""
        return self.servers[0].partition(":")[0] == "embedded"

    @property
    def embedded_port(self) -> int:
        """Where it listens. Raises `ValueError`."""
        _, colon, port = self.servers[0].partition(":")
        if colon and not (port.isdecimal() and 0 < int(port) <= HIGHEST_PORT):
            raise ValueError(f"{self.servers[0]!r}: write `embedded`, or `embedded:4222` with another port")
        return int(port) if colon else ENGINE_PORT

    @property
    def addresses(self) -> list[tuple[str, str, int]]:
        """Scheme, host and port of each server. Raises `ValueError`."""
        if self.embedded:
            return [("nats", "127.0.0.1", self.embedded_port)]
        schemes = {"nats": ENGINE_PORT, "tls": ENGINE_PORT}
        example = "nats://127.0.0.1:4222, tls://engine.example:4222 or embedded"
        return [(server.partition(":")[0], *_split(server, schemes, example)) for server in self.servers]


class Settings(Section):
    """A whole station file. A section left out is off."""

    station: StationSettings
    receivers: list[ReceiverSettings] = []
    policy: str = "receive-only"
    uplink: UplinkSettings | None = None
    bus: BusSettings | None = None
    lines: LinesSettings | None = None
    web: WebSettings | None = None
    journal: JournalSettings | None = None
    club: ClubSettings | None = None
    alerts: list[Alert] = []

    @property
    def post(self) -> Post:
        """Where and as whom the gateway listens."""
        position = self.station.position
        latitude, longitude = position.degrees if position else (None, None)
        return Post(self.station.callsign, latitude, longitude)


@dataclass(frozen=True, slots=True)
class StationFile:
    """A station file that was read: what it says, the folder that its paths start from, and its secrets."""

    path: Path
    settings: Settings
    document: Document
    passcode: SecretStr | None
    bus_password: SecretStr | None
    web_token: SecretStr | None
    club_password: SecretStr | None = None

    @property
    def club(self) -> "ClubOptions | None":
        """What is told to its part in a club; None: it is in none."""
        section = self.settings.club
        if section is None:
            return None
        from gateway.club_file import club_options  # noqa: PLC0415 - it needs an extra

        return club_options(self, section)

    @property
    def passcode_number(self) -> int | None:
        """The passcode; -1 to log in to receive only; None where there is no uplink."""
        return None if self.passcode is None else int(self.passcode.get_secret_value())

    def passcode_problem(self) -> Problem | None:
        """A passcode that does not belong to the callsign, as a problem; None where it does, or where there is none."""
        number = self.passcode_number
        if number is None or number == RECEIVE_ONLY_PASSCODE:
            return None
        callsign = self.settings.station.callsign
        if passcodes.belongs(callsign, number):
            return None
        what = f"the passcode does not belong to {callsign}: the network would not take anything"
        return self.document.problem(("uplink", "passcode_file"), what)

    @property
    def folder(self) -> Path:
        """Where the station file lies."""
        return self.path.parent


def load_settings(path: Path) -> Settings:
    """Read a station file without the secrets that it names. Raises `DocumentError`."""
    return _checked(_text_of(path), path)[1]


def load(path: Path, environment: Mapping[str, str] = os.environ) -> StationFile:
    """Read a station file and the secrets that it names. Raises `DocumentError`."""
    return read(_text_of(path), path, environment)


def read(text: str, path: Path, environment: Mapping[str, str] = os.environ) -> StationFile:
    """Read the text of the station file at `path`, and the secrets that it names. Raises `DocumentError`."""
    document, settings = _checked(text, path)
    passcode = password = token = None
    if settings.uplink is not None:
        passcode = _passcode(document, path.parent, settings.uplink, environment)
    if settings.bus is not None and settings.bus.password_file is not None:
        password = _secret(document, path.parent / settings.bus.password_file, ("bus", "password_file"))
    if settings.web is not None and settings.web.token_file is not None:
        token = _secret(document, path.parent / settings.web.token_file, ("web", "token_file"))
    club_password = None
    if settings.club is not None and settings.club.password_file is not None:
        club_password = _secret(document, path.parent / settings.club.password_file, ("club", "password_file"))
    return StationFile(path, settings, document, passcode, password, token, club_password)


def _text_of(path: Path) -> str:
    try:
        return read_text(path)
    except OSError as error:
        raise DocumentError([Problem(str(path), 1, "", f"cannot be read: {error.strerror}")]) from None


def _checked(text: str, path: Path) -> tuple[Document, Settings]:
    document = parse(text, str(path))
    settings = check(document, Settings)
    found = (
        _names_twice(document, settings),
        _captures_sent_up(document, settings),
        _bad_alerts(document, settings),
        _club_problems(document, settings),
    )
    if problems := [*chain.from_iterable(found)]:
        raise DocumentError(problems)
    return document, settings


def _names_twice(document: Document, settings: Settings) -> Iterator[Problem]:
    names = [receiver.name for receiver in settings.receivers]
    for position, name in enumerate(names):
        if name in names[:position]:
            yield document.problem(("receivers", position, "name"), f"two receivers are called {name}")


def _club_problems(document: Document, settings: Settings) -> Iterator[Problem]:
    club = settings.club
    if not settings.receivers and (club is None or club.role != "hub"):
        yield document.problem(("receivers",), "name one or more receivers: only a hub of a club needs none")
    if club is None:
        return
    if club.role == "post" and settings.uplink is not None:
        what = "a post of a club has no uplink: its hubs send what goes up; take `uplink:` out, or be a hub"
        yield document.problem(("uplink",), what)
    try:
        Subjects(club.name)
    except ValueError as error:
        yield document.problem(("club", "name"), str(error))


def _bad_alerts(document: Document, settings: Settings) -> Iterator[Problem]:
    names = [receiver.name for receiver in settings.receivers]
    for place, what in alert_problems(settings.alerts, names, located=settings.station.position is not None):
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


def _passcode(document: Document, folder: Path, uplink: UplinkSettings, environment: Mapping[str, str]) -> SecretStr:
    place = ("uplink", "passcode_file")
    if uplink.passcode_file is not None:
        secret = _secret(document, folder / uplink.passcode_file, place)
        where = str(uplink.passcode_file)
    else:
        secret = SecretStr(environment.get(PASSCODE_VARIABLE, str(RECEIVE_ONLY_PASSCODE)).strip())
        where = PASSCODE_VARIABLE
    number = secret.get_secret_value()
    if not re.fullmatch(r"-1|[0-9]{1,5}", number) or int(number) > HIGHEST_PASSCODE:
        what = f"what {where} holds is no passcode: a number from 0 to {HIGHEST_PASSCODE}, or -1"
        raise DocumentError([document.problem(place, what)])
    return secret


def _secret(document: Document, path: Path, place: tuple[str, ...]) -> SecretStr:
    try:
        secret = read_text(path, MAXIMUM_SECRET).strip()
    except OSError as error:
        raise DocumentError([document.problem(place, f"{path} cannot be read: {error.strerror}")]) from None
    if not secret or len(secret.splitlines()) > 1:
        raise DocumentError([document.problem(place, f"{path} should hold one line, the secret alone")])
    return SecretStr(secret)
