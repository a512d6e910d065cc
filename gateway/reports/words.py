"""A report in plain words, for people: each fact with its label, in the order in which one would tell them."""

from collections.abc import Callable
from typing import Any

from gateway.reports import symbol
from gateway.reports.published import to_object
from gateway.reports.report import Report

_UNITS = {
    "kmh": "km/h",
    "ms": "m/s",
    "m": "m",
    "km": "km",
    "deg": "°",
    "c": "°C",
    "hpa": "hPa",
    "pct": "%",
    "mm": "mm",
    "mhz": "MHz",
    "hz": "Hz",
    "w": "W",
    "db": "dB",
    "wm2": "W/m²",
    "nsvh": "nSv/h",
    "v": "V",
    "s": "S points",
}
"""What the last word of a field's name says."""

_LABELS = {
    "emergency": "EMERGENCY",
    "kind": "kind",
    "because": "not read",
    "name": "name",
    "live": "on the map",
    "addressee": "to",
    "query": "asks",
    "text": "text",
    "number": "number",
    "acknowledges": "acknowledges number",
    "rejects": "rejects number",
    "bulletin_type": "bulletin",
    "line": "line",
    "group": "group",
    "latitude": "position",
    "written": "written as",
    "ambiguity": "blanked digits",
    "ambiguity_m": "known to within",
    "datum": "datum",
    "locator": "locator",
    "fix": "fix",
    "distance_km": "distance",
    "bearing_deg": "bearing from here",
    "symbol": "symbol",
    "sign": "on its sign",
    "time": "time",
    "course_deg": "course",
    "speed_kmh": "speed",
    "altitude_m": "altitude",
    "range_km": "range",
    "power_w": "power",
    "antenna_height_m": "antenna above average terrain",
    "antenna_gain_db": "antenna gain",
    "antenna_bearing_deg": "antenna favours",
    "signal_strength_s": "hears the sought signal with",
    "beacons_per_hour": "beacons an hour",
    "signal_bearing_deg": "hears the sought signal at",
    "signal_hits_pct": "bearings that agreed",
    "signal_range_km": "sought signal within",
    "signal_width_deg": "bearing good to",
    "area_shape": "drawn as",
    "area_colour": "in colour",
    "area_latitude_span_deg": "spans southward",
    "area_longitude_span_deg": "spans sideways",
    "area_corridor_km": "to either side",
    "area_latitude": "asks about latitude",
    "area_longitude": "asks about longitude",
    "area_radius_km": "asks about what is within",
    "frequency_mhz": "frequency",
    "frequency_offset_mhz": "frequency offset",
    "tone_hz": "tone",
    "tone_code": "squelch code",
    "message_type": "message",
    "takes_messages": "takes messages",
    "wind_deg": "wind from",
    "wind_ms": "wind",
    "gust_ms": "gusts",
    "temperature_c": "temperature",
    "humidity_pct": "humidity",
    "pressure_hpa": "pressure",
    "rain_last_hour_mm": "rain in the last hour",
    "rain_last_day_mm": "rain in the last 24 hours",
    "rain_today_mm": "rain since midnight",
    "rain_counter": "rain gauge count",
    "irradiance_wm2": "sunlight",
    "snow_last_day_mm": "snow in the last 24 hours",
    "radiation_nsvh": "radiation",
    "battery_v": "battery",
    "indoor_temperature_c": "temperature indoors",
    "indoor_humidity_pct": "humidity indoors",
    "storm": "storm",
    "hurricane_winds_km": "hurricane winds within",
    "storm_winds_km": "storm winds within",
    "gale_winds_km": "whole gale within",
    "telemetry_sequence": "telemetry number",
    "analogue": "analogue values",
    "digital": "digital values",
    "telemetry_names": "telemetry names",
    "telemetry_units": "telemetry units",
    "telemetry_coefficients": "telemetry coefficients",
    "telemetry_senses": "telemetry senses",
    "telemetry_title": "telemetry title",
    "capabilities": "capabilities",
    "user": "user",
    "user_type": "format",
    "device": "device code",
    "relayed_by": "relayed by",
    "comment": "comment",
}
"""Every field but the longitude, which is told with the latitude, in the order of telling."""

_YES_AND_NO = {True: "yes", False: "no"}


def describe(report: Report) -> list[tuple[str, str]]:
    """The report as pairs of a label and a text. An emergency is told first."""
    return describe_object(to_object(report))


def describe_object(published: dict[str, Any]) -> list[tuple[str, str]]:
    """The same of a published object, with what others have added to it, such as the distance."""
    return [
        (label, _told(name, published))
        for name, label in _LABELS.items()
        if name in published and not (name == "ambiguity" and not published[name])
    ]


def _told(name: str, published: dict[str, Any]) -> str:
    tell = _TELLERS.get(name)
    if tell is not None:
        return tell(published)
    value = published[name]
    if isinstance(value, bool):
        return _YES_AND_NO[value]
    if isinstance(value, list):
        return ", ".join(_entry(entry) for entry in value)
    if isinstance(value, (int, float)):
        unit = _UNITS.get(name.rpartition("_")[2], "") if "_" in name else ""
        return f"{value:g}°" if unit == "°" else f"{value:.10g} {unit}".rstrip()
    return str(value)


def _entry(entry: object) -> str:
    if isinstance(entry, list):
        return "(" + ", ".join(f"{number:g}" for number in entry) + ")"
    return "-" if entry is None or entry == "" else str(entry)


def _position(published: dict[str, Any]) -> str:
    latitude, longitude = published["latitude"], published["longitude"]
    north, east = "S" if latitude < 0 else "N", "W" if longitude < 0 else "E"
    return f"{abs(latitude):.5f}° {north}, {abs(longitude):.5f}° {east}"


def _time(published: dict[str, Any]) -> str:
    """`---09T23:45Z` as a person says it: day 9, 23:45 UTC."""
    date, _, clock = published["time"].partition("T")
    if date.startswith("---"):
        date = f"day {int(date.lstrip('-'))}"
    elif date.startswith("--"):
        date = f"month {int(date[2:4])}, day {int(date[5:])}"
    clock = f"{clock[:-1]} UTC" if clock.endswith("Z") else f"{clock}, the sender's local time"
    return f"{date}, {clock}" if date else clock


def _emergency(_published: dict[str, Any]) -> str:
    return "the sender calls for help; this gateway is no distress watch"


def _symbol(published: dict[str, Any]) -> str:
    return f"{symbol.name(published['symbol'])} ({published['symbol']})"


def _live(published: dict[str, Any]) -> str:
    return "yes" if published["live"] else "no, taken off by its sender"


def _capabilities(published: dict[str, Any]) -> str:
    return ", ".join(f"{name} {value}".rstrip() for name, value in published["capabilities"].items())


_TELLERS: dict[str, Callable[[dict[str, Any]], str]] = {
    "emergency": _emergency,
    "latitude": _position,
    "time": _time,
    "symbol": _symbol,
    "live": _live,
    "capabilities": _capabilities,
}
