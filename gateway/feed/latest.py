"""What a station last said of itself, kind by kind: where it is, its weather, its telemetry. No I/O, no clock.

The last frame of a station may be a message or a status; who follows the station asks for its last position all the
same. It is kept for the few stations that the operator lists: every frame of theirs is read when it is heard.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged, Reason

POSITION_FIELDS = (
    "latitude",
    "longitude",
    "ambiguity_m",
    "distance_km",
    "bearing_deg",
    "course_deg",
    "speed_kmh",
    "altitude_m",
)
WEATHER_FIELDS = (
    "temperature_c",
    "humidity_pct",
    "pressure_hpa",
    "wind_ms",
    "gust_ms",
    "wind_deg",
    "rain_last_hour_mm",
    "rain_last_day_mm",
    "rain_today_mm",
    "snow_last_day_mm",
    "irradiance_wm2",
    "radiation_nsvh",
    "indoor_temperature_c",
    "indoor_humidity_pct",
    "battery_v",
)

LONGEST_NAME = 32
LONGEST_KEY = 32
MOST_CHANNELS = 13
"""Five values and eight bits (APRS101 chapter 13)."""

_OF_THE_SENDER = frozenset({"position", "weather"})
"""Reports whose place is that of their sender: an object's or an item's is not."""

_ALLOWED_BESIDE_LETTERS = frozenset(" .+-/()°_")
_NOT_IN_A_KEY = re.compile(r"[^a-z0-9]+")


@dataclass(frozen=True, slots=True)
class Channel:
    """One telemetry channel: what may be made of it in the house, with nothing raw from the air in it."""

    key: str
    """Tells it from the station's other channels: small letters, digits and underscores."""

    name: str
    """What its sender calls it, made safe to show."""

    unit: str
    """As its sender writes it, which may be anything: to be looked up, not to be shown."""

    is_bit: bool
    """On or off, instead of a number."""


@dataclass(slots=True)
class Latest:
    """The last of each kind that one station said. A report of weather replaces the last one as a whole."""

    position: PlainObject | None = None
    weather: PlainObject | None = None
    telemetry: PlainObject | None = None
    channels: tuple[Channel, ...] = ()
    """What the last telemetry held."""

    def hear(self, judged: Judged, report: Mapping[str, Any]) -> None:
        """Take note of a frame of this station, and of what it reports, in the published form.

        A copy says nothing new, and may come after something newer.
        """
        if judged.verdict.reason is Reason.DUPLICATE:
            return
        time = rfc3339(judged.heard.moment.time_ms)
        is_own = report.get("kind") in _OF_THE_SENDER and "name" not in report  # a name: the place is a waypoint's
        if is_own and "latitude" in report:
            self.position = _picked(report, POSITION_FIELDS, time)
        if is_own and any(name in report for name in WEATHER_FIELDS):
            self.weather = _picked(report, WEATHER_FIELDS, time)
        if report.get("channels"):
            named = channels_by_key(report["channels"])
            self.telemetry = {"time": time, "channels": {channel.key: value for channel, value in named}}
            self.channels = tuple(channel for channel, _ in named)

    def to_object(self) -> PlainObject:
        """The plain form; what was never said is not there."""
        parts = {"position": self.position, "weather": self.weather, "telemetry": self.telemetry}
        return {name: part for name, part in parts.items() if part is not None}


def _picked(report: Mapping[str, Any], names: Sequence[str], time: str) -> PlainObject:
    return {"time": time, **{name: report[name] for name in names if name in report}}


def channels_by_key(published: Sequence[Mapping[str, Any]]) -> list[tuple[Channel, float | bool | None]]:
    """The published `channels` of a report, each under a key that no other of them has."""
    named: dict[str, tuple[Channel, float | bool | None]] = {}
    for place, entry in enumerate(published[:MOST_CHANNELS], 1):
        name = safe_name(str(entry["name"])) or f"Channel {place}"
        stem = key_of(name) or f"channel_{place}"
        key = next(key for key in _candidates(stem) if key not in named)
        value = entry["value"]
        named[key] = Channel(key, name, str(entry.get("unit", "")), isinstance(value, bool)), value
    return list(named.values())


def safe_name(text: str) -> str:
    """A text from the air as a name: letters, digits and a few signs, none of which means anything in a template."""
    kept = "".join(char if char.isalnum() or char in _ALLOWED_BESIDE_LETTERS else " " for char in text)
    return " ".join(kept.split())[:LONGEST_NAME].rstrip()


def key_of(name: str) -> str:
    """A name as a key; empty where nothing of it can stand in one."""
    return _NOT_IN_A_KEY.sub("_", name.casefold())[:LONGEST_KEY].strip("_")


def _candidates(stem: str) -> list[str]:
    return [stem, *(f"{stem}_{number}" for number in range(2, MOST_CHANNELS + 2))]
