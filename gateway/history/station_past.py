"""A station's own past: its track, its weather and telemetry over time, from its heard objects. Pure."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from gateway.feed.latest import POSITION_FIELDS, WEATHER_FIELDS
from gateway.feed.reader import OF_THE_SENDER
from gateway.frames.capture import read_object
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.history.period import Period

MOST_FRAMES = 1000
"""Looked at for one answer, the newest."""

MOST_SHOWN = 100
"""Frames that are shown as they were heard, the newest."""


class PastFrame(NamedTuple):
    """A frame that was heard."""

    run: str
    sequence: int
    encoded: bytes
    """Its heard object, as it was published."""

    def to_object(self) -> PlainObject | None:
        """The heard object; None where it cannot be read."""
        try:
            return read_object(self.encoded)
        except PlainFormError:
            return None


def together(recent: Sequence[PastFrame], kept: Sequence[PastFrame]) -> list[PastFrame]:
    """The frames of both, each once; the newest first, as they are in each."""
    kept_ones = {(frame.run, frame.sequence) for frame in kept}
    return [*(frame for frame in recent if (frame.run, frame.sequence) not in kept_ones), *kept]


def heard_in(period: Period, frames: Iterable[PastFrame]) -> list[PlainObject]:
    """The heard objects of those frames that were heard in `period` and can be read."""
    objects = (frame.to_object() for frame in frames)
    return [one for one in objects if one is not None and period.holds(one)]


def station_past(heard: Sequence[PlainObject]) -> PlainObject:
    """The plain form, from heard objects of one station, the newest first. What is told over time begins early."""
    track: list[PlainObject] = []
    weather: list[PlainObject] = []
    telemetry: list[PlainObject] = []
    for one in reversed(heard):
        report, time = one.get("report"), one.get("time")
        if not isinstance(report, Mapping) or not isinstance(time, str):
            continue
        if report.get("kind") in OF_THE_SENDER and "latitude" in report:
            place = {"time": time, "direct": is_direct_object(one), **_some(report, POSITION_FIELDS)}
            if not track or _place(track[-1]) != _place(place):
                track.append(place)
        if report.get("kind") in OF_THE_SENDER and (measured := _some(report, WEATHER_FIELDS)):
            weather.append({"time": time, **measured})
        if values := _some(report, ("channels", "analogue", "digital")):
            telemetry.append({"time": time, **values})
    return {"track": track, "weather": weather, "telemetry": telemetry, "heard": list(heard[:MOST_SHOWN])}


def is_direct_object(heard: Mapping[str, Any]) -> bool:
    """Whether a heard object is of the station's own transmission: no used repeater, no third party."""
    path = heard.get("path")
    return "outer" not in heard and isinstance(path, list) and not any(str(entry).endswith("*") for entry in path)


def _some(report: Mapping[str, Any], names: Iterable[str]) -> PlainObject:
    return {name: report[name] for name in names if name in report}


def _place(point: Mapping[str, Any]) -> tuple[object, ...]:
    """What makes two points of a track one: a station that stands still needs one point, and the first time."""
    return (point["latitude"], point.get("longitude"), point["direct"])
