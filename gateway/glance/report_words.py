"""One report in a few plain words: what a person is told of it in a line, metric and with its units. Pure.

What comes from the air is in it as it was sent: whoever shows it makes it fit for a terminal or a picture.
"""

from collections.abc import Iterable

from gateway.glance.shown import ChannelShown, HeardShown, ReportShown
from gateway.reports import symbol

MOST_CHANNELS = 3
"""So many values of telemetry are told."""

_WINDS = ("N", "NE", "E", "SE", "S", "SW", "W", "NW")
_NEAR_KM = 10.0
"""Nearer than this a distance is told with its hundreds of metres."""

_STANDING_KMH = 1.0

_OF_KIND = {
    "position": "",
    "weather": "",
    "telemetry": "telemetry",
    "query": "asks something",
    "capabilities": "says what it can do",
    "user-defined": "in a format of its own",
}
"""What is told of a report that says no more, in place of the field as it was sent."""


def compass(bearing_deg: float) -> str:
    """The nearest of eight winds: `NE`."""
    return _WINDS[round(bearing_deg / 45) % len(_WINDS)]


def distance(kilometres: float) -> str:
    """`850 m`, `4.2 km`, `128 km`."""
    if kilometres < 1:
        return f"{kilometres * 1000:.0f} m"
    return f"{kilometres:.1f} km" if kilometres < _NEAR_KM else f"{kilometres:.0f} km"


def where(report: ReportShown) -> str:
    """How far and in which direction it is: `4.2 km NE`; empty where nobody knows."""
    if report.distance_km is None:
        return ""
    wind = "" if report.bearing_deg is None else f" {compass(report.bearing_deg)}"
    return f"{distance(report.distance_km)}{wind}"


def coordinates(report: ReportShown) -> str:
    """`58.6000 N 3.9167 W`: for who does not know how far it is. Empty where it does not tell."""
    latitude, longitude = report.latitude, report.longitude
    if latitude is None or longitude is None:
        return ""
    north, east = "N" if latitude >= 0 else "S", "E" if longitude >= 0 else "W"
    return f"{abs(latitude):.4f} {north} {abs(longitude):.4f} {east}"


def picture(report: ReportShown) -> str:
    """What its sender wants to be shown by: `sailing boat`; empty where it says none, or one that nobody named."""
    if len(report.symbol) != len("/s"):
        return ""
    name = symbol.name(report.symbol) if report.symbol[0] in symbol.TABLES else ""
    return "" if name.startswith("reserved") else name


def wind(report: ReportShown) -> str:
    """`7 m/s SW`: empty where it tells none."""
    if report.wind_ms is None:
        return ""
    direction = "" if report.wind_deg is None else f" {compass(report.wind_deg)}"
    return f"{report.wind_ms:.0f} m/s{direction}"


def gusts(report: ReportShown) -> str:
    """`gusts 11`: empty where it tells none that are more than its wind."""
    return "" if report.gust_ms is None or report.gust_ms <= (report.wind_ms or 0) else f"gusts {report.gust_ms:.0f}"


def temperature(report: ReportShown) -> str:
    """`13.9 °C`; empty where it tells none."""
    return "" if report.temperature_c is None else f"{report.temperature_c:.1f} °C"


def air(report: ReportShown) -> str:
    """What is left of its weather: `82 %, 1013 hPa, rain 0.3 mm/h`."""
    words = []
    if report.humidity_pct is not None:
        words.append(f"{report.humidity_pct:.0f} %")
    if report.pressure_hpa is not None:
        words.append(f"{report.pressure_hpa:.0f} hPa")
    if report.rain_last_hour_mm:
        words.append(f"rain {report.rain_last_hour_mm:.1f} mm/h")
    return ", ".join(words)


def joined(pieces: Iterable[str]) -> str:
    """Those of them that say something, in a row."""
    return ", ".join(piece for piece in pieces if piece)


def report_words(heard: HeardShown) -> str:
    """What the frame says, in a line: no distance, not who says it, and not what they are."""
    report = heard.report
    if report.tells_weather:
        pieces = [temperature(report), wind(report), gusts(report), air(report), report.comment]
    elif report.kind in {"position", "object", "item"}:
        pieces = [report.name if report.live else f"{report.name} is taken off", motion(report), report.comment]
    elif report.kind in {"message", "bulletin", "query"}:
        pieces = [f"to {report.addressee}: {report.text}" if report.addressee else report.text]
    elif report.kind == "telemetry":
        pieces = [_channel(channel) for channel in report.channels[:MOST_CHANNELS]]
    else:
        pieces = [report.text, report.comment]
    return joined(pieces) or _OF_KIND.get(report.kind, heard.information or heard.damage)


def motion(report: ReportShown) -> str:
    """`38 km/h NE, 120 m up`; empty where it stands on the ground."""
    speed = altitude = ""
    if report.speed_kmh is not None and report.speed_kmh >= _STANDING_KMH:
        course = "" if report.course_deg is None else f" {compass(report.course_deg)}"
        speed = f"{report.speed_kmh:.0f} km/h{course}"
    if report.altitude_m is not None:
        altitude = f"{report.altitude_m:.0f} m up"
    return joined((speed, altitude))


def _channel(channel: ChannelShown) -> str:
    value = channel.value
    if value is None:
        return ""
    value_in_words = ("yes" if value else "no") if isinstance(value, bool) else f"{value:g} {channel.unit}".rstrip()
    return f"{channel.name} {value_in_words}"
