"""What the gateway publishes, as far as a person is shown it. What a newer gateway tells besides is passed over."""

from typing import Annotated

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from gateway.groundwork.part import State

Count = Annotated[int, Field(ge=0)]


class _Published(BaseModel):
    model_config = ConfigDict(frozen=True, extra="ignore")


class PartShown(_Published):
    """One part of the post."""

    kind: str
    name: str
    state: State
    since: AwareDatetime
    why: str = ""
    do: str = ""
    figures: dict[str, float | dict[str, float]] = {}
    """What it counts; a figure that a label tells apart by the label's values."""

    @property
    def label(self) -> str:
        """`receiver vhf`, and for a kind of which there is one, `uplink`."""
        return self.kind if self.kind == self.name else f"{self.kind} {self.name}"


class CountsShown(_Published):
    """What became of every frame."""

    heard: Count
    forward: Count
    keep: Count
    keep_by_reason: dict[str, Count]
    emergencies: Count
    outcomes: dict[str, Count] | None = None
    waiting: Count = 0


class ActivityShown(_Published):
    """How busy the post is."""

    frames_per_minute: Count
    stations_last_hour: Count
    last_heard: AwareDatetime | None = None


class ReachShown(_Published):
    """How far the antenna reached in the last hour."""

    direct_last_hour: Count
    farthest_km: float | None = None


class PostShown(_Published):
    """What one post of a club is worth."""

    name: str
    last_word: AwareDatetime
    frames_last_minute: Count
    alone: Count
    first_share: float


class ClubShown(_Published):
    """A club as a hub of it sees it."""

    holds: bool
    holder: str = ""
    posts: list[PostShown]


class HealthShown(_Published):
    """The health of the post."""

    run: str
    state: State
    parts: list[PartShown]
    counts: CountsShown
    activity: ActivityShown | None = None
    reach: ReachShown | None = None
    club: ClubShown | None = None
    shed: dict[str, dict[str, Count]] = {}


class ChannelShown(_Published):
    """One scaled value of telemetry."""

    name: str
    value: bool | float | None = None
    unit: str = ""


class ReportShown(_Published):
    """What a report says, as far as it is told in a line or a picture."""

    kind: str = ""
    emergency: bool = False
    name: str = ""
    """Of the object or item that it is about."""

    live: bool = True
    latitude: float | None = None
    longitude: float | None = None
    distance_km: float | None = None
    bearing_deg: float | None = None
    course_deg: float | None = None
    speed_kmh: float | None = None
    altitude_m: float | None = None
    symbol: str = ""
    temperature_c: float | None = None
    wind_deg: float | None = None
    wind_ms: float | None = None
    gust_ms: float | None = None
    humidity_pct: float | None = None
    pressure_hpa: float | None = None
    rain_last_hour_mm: float | None = None
    addressee: str = ""
    text: str = ""
    channels: list[ChannelShown] = []
    comment: str = ""
    relayed_by: str = ""

    @property
    def is_of_its_sender(self) -> bool:
        """Whether the place that it tells is its sender's own: that of an object or an item is not."""
        return self.distance_km is not None and self.kind in {"position", "weather"} and not self.name

    @property
    def tells_weather(self) -> bool:
        """Whether there is weather in it."""
        return self.temperature_c is not None or self.wind_ms is not None


class HeardShown(_Published):
    """One frame."""

    run: str
    sequence: Count
    time: AwareDatetime
    receiver: str
    verdict: str
    source: str = ""
    information: str = ""
    damage: str = ""
    path: list[str] = []
    reason: str = ""
    rule: str = ""
    report: ReportShown = ReportShown()

    @property
    def relay(self) -> str:
        """By whom it came: who relayed it from elsewhere, or the last repeater; empty where it was heard direct."""
        used = [entry.removesuffix("*") for entry in self.path if entry.endswith("*")]
        return self.report.relayed_by or (used[-1] if used else "")

    @property
    def is_news(self) -> bool:
        """Whether it tells something of a station: it could be read, and is no copy of what was heard before."""
        return bool(self.source) and self.reason != "duplicate"

    @property
    def counts_as_emergency(self) -> bool:
        """Whether it says emergency, and is no copy of one that went up."""
        return self.report.emergency and self.reason != "duplicate"


class ForwardedShown(HeardShown):
    """A frame that went up."""


class AlertShown(_Published):
    """What the operator wants to be told of."""

    kind: str
    name: str
    time: AwareDatetime
    what: str
    source: str = ""
    heard: HeardShown | None = None

    @property
    def about(self) -> str:
        """The station that it is about; empty where it is about the post."""
        return self.source or (self.heard.source if self.heard else "")


class MissedShown(_Published):
    """Events that a stream did not get."""

    count: Count = 0
    """0: nobody knows how many."""
