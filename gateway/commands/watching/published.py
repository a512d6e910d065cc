"""What a gateway's web tells a watch: its events, that it answers, that it does not."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from gateway.glance.shown import AlertShown, ForwardedShown, HealthShown, HeardShown, MissedShown
from gateway.groundwork.part import Trouble

Shown = HeardShown | HealthShown | AlertShown | MissedShown

MODELS: Mapping[str, type[Shown]] = {
    "heard": HeardShown,
    "forwarded": ForwardedShown,
    "health": HealthShown,
    "alert": AlertShown,
    "missed": MissedShown,
}
"""By the kind of an event, what it tells."""


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that the gateway told."""

    kind: str
    plain: Mapping[str, Any]
    shown: Shown


@dataclass(frozen=True, slots=True)
class Answering:
    """The gateway answers: its event stream is open."""


class NoAnswer(Trouble):
    """The gateway does not answer, or not as it should."""


Notice = Event | Answering | NoAnswer


def event_of(kind: str, plain: Mapping[str, Any]) -> Event:
    """The event of a plain object. Raises pydantic's `ValidationError` where no gateway tells such a thing."""
    return Event(kind, plain, MODELS[kind].model_validate(plain))
