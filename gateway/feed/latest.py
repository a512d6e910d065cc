"""What a station last said of itself, kind by kind: where it is, its weather, its telemetry. No I/O, no clock.

The last frame of a station may be a message or a status; who follows the station asks for its last position all the
same. It is kept for the few stations that the operator lists: every frame of theirs is read when it is heard.
"""

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

from gateway.feed.reader import OF_THE_SENDER
from gateway.frames.plain import PlainObject, from_rfc3339, rfc3339
from gateway.judge.verdict import Judged, Reason
from gateway.reports.measured import Weather

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
WEATHER_FIELDS = tuple(field.name for field in fields(Weather) if field.name != "rain_counter")
"""All but what a gauge counts in steps of its own."""

LONGEST_NAME = 32
LONGEST_KEY = 32
MOST_CHANNELS = 13
"""Five values and eight bits (APRS101 chapter 13)."""

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
        is_own = report.get("kind") in OF_THE_SENDER and "name" not in report  # a name: the place is a waypoint's
        if is_own and "latitude" in report:
            self.position = _picked(report, POSITION_FIELDS, time)
        if is_own and any(name in report for name in WEATHER_FIELDS):
            self.weather = _picked(report, WEATHER_FIELDS, time)
        if report.get("channels"):
            channels_and_values = channels_by_key(report["channels"])
            self.telemetry = {"time": time, "channels": {channel.key: value for channel, value in channels_and_values}}
            self.channels = tuple(channel for channel, _ in channels_and_values)

    def dumped(self) -> PlainObject:
        """All of it, to be kept over a restart: see `latest_from`."""
        channels = [[channel.key, channel.name, channel.unit, channel.is_bit] for channel in self.channels]
        return {**self.to_object(), "channels": channels}

    def to_object(self) -> PlainObject:
        """The plain form; what was never said is not there."""
        parts = {"position": self.position, "weather": self.weather, "telemetry": self.telemetry}
        return {name: part for name, part in parts.items() if part is not None}


def latest_from(plain: object) -> Latest:
    """What `dumped` gave out; what is of another shape is left out, part by part. Never raises."""
    if not isinstance(plain, Mapping):
        return Latest()
    plain_channels = plain.get("channels")
    channels = [_channel_from(channel) for channel in plain_channels] if isinstance(plain_channels, list) else []
    return Latest(
        _part_from(plain.get("position"), POSITION_FIELDS),
        _part_from(plain.get("weather"), WEATHER_FIELDS),
        _telemetry_from(plain.get("telemetry")),
        tuple(channel for channel in channels if channel is not None)[:MOST_CHANNELS],
    )


def _part_from(plain: object, names: Sequence[str]) -> PlainObject | None:
    """The time, and those of the fields that are numbers; None where there is neither."""
    time = _time_in(plain)
    if time is None or not isinstance(plain, Mapping):
        return None
    fields = {name: plain[name] for name in names if _is_number(plain.get(name))}
    return {"time": time, **fields} if fields else None


def _telemetry_from(plain: object) -> PlainObject | None:
    time = _time_in(plain)
    values = plain.get("channels") if isinstance(plain, Mapping) else None
    if time is None or not isinstance(values, Mapping):
        return None
    channels = {key: value for key, value in values.items() if _is_key(key) and (value is None or _is_number(value))}
    return {"time": time, "channels": dict([*channels.items()][:MOST_CHANNELS])}


def _time_in(plain: object) -> str | None:
    try:
        return rfc3339(from_rfc3339(plain["time"])) if isinstance(plain, Mapping) else None
    except (KeyError, TypeError, ValueError, OverflowError):
        return None


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and math.isfinite(value)


def _is_key(value: object) -> bool:
    return isinstance(value, str) and bool(value) and value == key_of(value)


def _channel_from(plain: object) -> Channel | None:
    match plain:
        case [str(key), str(name), str(unit), bool(is_bit)] if _is_key(key) and name == safe_name(name):
            return Channel(key, name, unit, is_bit)
    return None


def _picked(report: Mapping[str, Any], names: Sequence[str], time: str) -> PlainObject:
    return {"time": time, **{name: report[name] for name in names if name in report}}


def channels_by_key(published: Sequence[Mapping[str, Any]]) -> list[tuple[Channel, float | bool | None]]:
    """The published `channels` of a report, each under a key that no other of them has."""
    channel_by_key: dict[str, tuple[Channel, float | bool | None]] = {}
    for place, entry in enumerate(published[:MOST_CHANNELS], 1):
        name = safe_name(str(entry["name"])) or f"Channel {place}"
        stem = key_of(name) or f"channel_{place}"
        key = next(key for key in _candidates(stem) if key not in channel_by_key)
        value = entry["value"]
        channel_by_key[key] = Channel(key, name, str(entry.get("unit", "")), isinstance(value, bool)), value
    return list(channel_by_key.values())


def safe_name(text: str) -> str:
    """A text from the air as a name: letters, digits and a few signs, none of which means anything in a template."""
    allowed = "".join(char if char.isalnum() or char in _ALLOWED_BESIDE_LETTERS else " " for char in text)
    return " ".join(allowed.split())[:LONGEST_NAME].rstrip()


def key_of(name: str) -> str:
    """A name as a key; empty where nothing of it can stand in one."""
    return _NOT_IN_A_KEY.sub("_", name.casefold())[:LONGEST_KEY].strip("_")


def _candidates(stem: str) -> list[str]:
    return [stem, *(f"{stem}_{number}" for number in range(2, MOST_CHANNELS + 2))]
