"""What the gateway's web tells, as far as a watch shows it. What a newer gateway tells besides is passed over."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated, Any

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from gateway.groundwork.part import State

Count = Annotated[int, Field(ge=0)]


class EventName(StrEnum):
    """What an event tells of."""

    HEARD = "heard"
    FORWARDED = "forwarded"
    HEALTH = "health"
    ALERT = "alert"
    MISSED = "missed"


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


class ReportShown(_Published):
    """The few fields of a report that matter in an emergency."""

    emergency: bool = False
    latitude: float | None = None
    longitude: float | None = None
    distance_km: float | None = None
    bearing_deg: float | None = None
    comment: str = ""


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
    reason: str = ""
    rule: str = ""
    report: ReportShown = ReportShown()

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


Shown = HeardShown | HealthShown | AlertShown | MissedShown

_MODELS: dict[EventName, type[Shown]] = {
    EventName.HEARD: HeardShown,
    EventName.FORWARDED: ForwardedShown,
    EventName.HEALTH: HealthShown,
    EventName.ALERT: AlertShown,
    EventName.MISSED: MissedShown,
}


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that the gateway told."""

    kind: EventName
    plain: Mapping[str, Any]
    """All of it."""

    shown: Shown


@dataclass(frozen=True, slots=True)
class Answering:
    """The gateway answers: its event stream is open."""


@dataclass(frozen=True, slots=True)
class NoAnswer:
    """The gateway does not answer, or not as it should. The words are our own."""

    why: str
    do: str

    def __str__(self) -> str:
        """In one sentence."""
        return f"{self.why}; {self.do}"


Notice = Event | Answering | NoAnswer


def event_of(kind: EventName, plain: Mapping[str, Any]) -> Event:
    """The event of a plain object. Raises pydantic's `ValidationError` where no gateway tells such a thing."""
    return Event(kind, plain, _MODELS[kind].model_validate(plain))
