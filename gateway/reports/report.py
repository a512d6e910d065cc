"""What a report can say. A class per kind, made of parts; a field that was not sent is None, never zero.

The parts stand in `place` and `measured`. The names of the fields, here and there, are the names that are published:
`published.to_object` flattens the parts and does nothing else. Units stand in the names.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import ClassVar

from gateway.reports.measured import Definition, Storm, Telemetry, Weather
from gateway.reports.moment import ReportMoment
from gateway.reports.place import Extension, Fix, Frequency, Position, Signal


class Unreadable(ValueError):  # noqa: N818 - it says what the information is; nothing went wrong in the gateway
    """The information is not what its first octet says. The message says why; `read` makes an unknown report of it."""


class Kind(StrEnum):
    """What a report is about."""

    POSITION = "position"
    WEATHER = "weather"
    OBJECT = "object"
    ITEM = "item"
    MESSAGE = "message"
    BULLETIN = "bulletin"
    TELEMETRY = "telemetry"
    STATUS = "status"
    QUERY = "query"
    CAPABILITIES = "capabilities"
    USER_DEFINED = "user-defined"
    UNKNOWN = "unknown"


class MessageType(StrEnum):
    """The message that a Mic-E position carries (APRS101 chapter 10)."""

    OFF_DUTY = "off-duty"
    EN_ROUTE = "en-route"
    IN_SERVICE = "in-service"
    RETURNING = "returning"
    COMMITTED = "committed"
    SPECIAL = "special"
    PRIORITY = "priority"
    EMERGENCY = "emergency"
    CUSTOM_0 = "custom-0"
    CUSTOM_1 = "custom-1"
    CUSTOM_2 = "custom-2"
    CUSTOM_3 = "custom-3"
    CUSTOM_4 = "custom-4"
    CUSTOM_5 = "custom-5"
    CUSTOM_6 = "custom-6"
    UNKNOWN = "unknown"


class BulletinType(StrEnum):
    """Whom a bulletin is for, and for how long (APRS101 chapter 14)."""

    GENERAL = "general"
    ANNOUNCEMENT = "announcement"
    GROUP = "group"
    WEATHER_SERVICE = "weather-service"


@dataclass(frozen=True, slots=True)
class Located:
    """What follows wherever a report gives a place: the place, its symbol, one extension, and what the comment says."""

    position: Position | None = None
    """None where the sender does not know it, or gives none: weather can come without."""
    symbol: str | None = None
    """Table (or overlay) and code."""
    extension: Extension | None = None
    altitude_m: float | None = None
    comment: str = ""
    """What is left of it once the rest was read."""
    frequency: Frequency | None = None
    telemetry: Telemetry | None = None
    weather: Weather | None = None
    storm: Storm | None = None
    signal: Signal | None = None
    fix: Fix | None = None
    sign: str | None = None
    """What stands on a signpost, up to three characters."""
    device: str | None = None
    """What the sender's device or software says it is: a code, as sent."""
    because: str | None = None
    """What could not be read beside the place, and why."""


@dataclass(frozen=True, slots=True)
class MicE:
    """What only Mic-E says."""

    message_type: MessageType
    locator: str | None = None


class Report:
    """One report. These are what can be asked of every kind."""

    __slots__ = ()

    kind: ClassVar[Kind]

    @property
    def position(self) -> Position | None:
        """The place it is about."""
        return None

    @property
    def symbol(self) -> str | None:
        """Table (or overlay) and code."""
        return None

    @property
    def addressee(self) -> str | None:
        """Whom it is for."""
        return None

    @property
    def prose(self) -> str:
        """What it says in the sender's own words: a comment, a message, a status."""
        return ""

    @property
    def is_emergency(self) -> bool:
        """Whether its sender calls for help."""
        return False


@dataclass(frozen=True, slots=True)
class LocatedReport(Report):
    """A report about a place."""

    located: Located
    time: ReportMoment | None = None

    @property
    def position(self) -> Position | None:
        """The place, where it is known."""
        return self.located.position

    @property
    def symbol(self) -> str | None:
        """Table (or overlay) and code."""
        return self.located.symbol

    @property
    def prose(self) -> str:
        """The comment."""
        return self.located.comment


@dataclass(frozen=True, slots=True)
class PositionReport(LocatedReport):
    """Where a station is."""

    kind: ClassVar[Kind] = Kind.POSITION
    takes_messages: bool | None = None
    """Whether it takes messages, as far as its format says."""
    mic_e: MicE | None = None
    name: str | None = None
    """Of the waypoint that it gives."""
    emergency: bool | None = None
    """True where its sender calls for help, else None."""

    @property
    def is_emergency(self) -> bool:
        """Whether its message bits or its comment say so."""
        return self.emergency is True


@dataclass(frozen=True, slots=True)
class WeatherReport(LocatedReport):
    """What the weather is, with a place or without."""

    kind: ClassVar[Kind] = Kind.WEATHER
    takes_messages: bool | None = None
    emergency: bool | None = None
    """True where its sender calls for help, else None."""

    @property
    def is_emergency(self) -> bool:
        """Whether its comment says so."""
        return self.emergency is True


@dataclass(frozen=True, slots=True)
class ObjectReport(LocatedReport):
    """A thing on the map, placed there by the sender, with the time for which that is true."""

    kind: ClassVar[Kind] = Kind.OBJECT
    name: str = ""
    live: bool = True


@dataclass(frozen=True, slots=True)
class ItemReport(LocatedReport):
    """A thing on the map that stays as it is: no time."""

    kind: ClassVar[Kind] = Kind.ITEM
    name: str = ""
    live: bool = True


@dataclass(frozen=True, slots=True)
class MessageReport(Report):
    """From one station to another, or an answer that one came."""

    kind: ClassVar[Kind] = Kind.MESSAGE
    addressee: str = ""
    text: str = ""
    number: str | None = None
    """What an answer must repeat; None: none is asked for."""
    acknowledges: str | None = None
    rejects: str | None = None
    definition: Definition | None = None

    @property
    def prose(self) -> str:
        """The text."""
        return self.text


@dataclass(frozen=True, slots=True)
class BulletinReport(Report):
    """To everyone, or to everyone in a group."""

    kind: ClassVar[Kind] = Kind.BULLETIN
    addressee: str = ""
    bulletin_type: BulletinType = BulletinType.GENERAL
    line: str | None = None
    """A digit or, for announcements, a letter: which of the lines on show this one replaces."""
    group: str | None = None
    text: str = ""
    number: str | None = None

    @property
    def prose(self) -> str:
        """The text."""
        return self.text


@dataclass(frozen=True, slots=True)
class TelemetryReport(Report):
    """Measured values."""

    kind: ClassVar[Kind] = Kind.TELEMETRY
    telemetry: Telemetry
    comment: str = ""

    @property
    def prose(self) -> str:
        """The comment."""
        return self.comment


@dataclass(frozen=True, slots=True)
class StatusReport(Report):
    """What a station has to say of itself."""

    kind: ClassVar[Kind] = Kind.STATUS
    text: str = ""
    time: ReportMoment | None = None
    locator: str | None = None
    symbol: str | None = None
    antenna_bearing_deg: int | None = None
    power_w: int | None = None
    """Effective radiated power."""

    @property
    def prose(self) -> str:
        """The text."""
        return self.text


@dataclass(frozen=True, slots=True)
class QueryReport(Report):
    """A question to every station (it starts with `?`), or to one (it travels as a message)."""

    kind: ClassVar[Kind] = Kind.QUERY
    query: str = ""
    addressee: str | None = None
    text: str = ""
    """What stands after the question."""
    area_latitude: float | None = None
    area_longitude: float | None = None
    area_radius_km: float | None = None

    @property
    def prose(self) -> str:
        """The text."""
        return self.text


@dataclass(frozen=True, slots=True)
class CapabilitiesReport(Report):
    """What a station can do: names, some with a value."""

    kind: ClassVar[Kind] = Kind.CAPABILITIES
    capabilities: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class UserDefinedReport(Report):
    """In a format of somebody's own, told by two characters."""

    kind: ClassVar[Kind] = Kind.USER_DEFINED
    user: str = ""
    user_type: str = ""
    text: str = ""

    @property
    def prose(self) -> str:
        """The text."""
        return self.text


@dataclass(frozen=True, slots=True)
class UnknownReport(Report):
    """Information that could not be read, and why."""

    kind: ClassVar[Kind] = Kind.UNKNOWN
    because: str
    emergency: bool | None = None
    """True where a Mic-E report calls for help though its place cannot be read."""

    @property
    def is_emergency(self) -> bool:
        """Whether its message bits or its text say so."""
        return self.emergency is True
