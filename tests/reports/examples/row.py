"""What an example is, and the objects that most of them become.

Where a row's source ends in "from memory", the example or a number in it was not looked up. Examples from a published
source keep their callsigns; "ours, after" a source means that the frame is our own and the source says what it means.
"""

from typing import Any, NamedTuple


class Row(NamedTuple):
    """An example: where it comes from, the frame's destination and information, and the object it becomes."""

    source: str
    destination: str
    information: bytes
    expected: dict[str, Any]


def plain(symbol: str, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """The place that most of the standard's examples stand at: 49°03.50'N 72°01.75'W."""
    place = {"written": "plain-text", "latitude": 49.058333, "longitude": -72.029167, "ambiguity": 0, "symbol": symbol}
    return {"kind": "position", **place, **more}


def compressed(symbol: str, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """49°30'N 72°45'W, as near as base 91 comes to it."""
    place = {"written": "compressed", "latitude": 49.5, "longitude": -72.750004, "symbol": symbol}
    return {"kind": "position", **place, **more}


def mic_e(**more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """33°25.64'N 112°07.74'W, 20 knots, 251°, a jeep."""
    place = {"written": "mic-e", "latitude": 33.427333, "longitude": -112.129, "ambiguity": 0, "symbol": "/j"}
    return {"kind": "position", **place, "course_deg": 251, "speed_kmh": 37.0, "message_type": "returning", **more}


def unknown(because: str) -> dict[str, Any]:
    return {"kind": "unknown", "because": because}


WEATHER = {
    "wind_deg": 220,
    "wind_ms": 1.8,
    "gust_ms": 2.2,
    "temperature_c": 25.0,
    "rain_last_hour_mm": 0.0,
    "rain_last_day_mm": 0.0,
    "rain_today_mm": 0.0,
    "humidity_pct": 50,
    "pressure_hpa": 990.0,
}
"""Wind 220° at 4 mph, gusts 5 mph, 77 °F, no rain, 50 %, 990.0 hPa."""

EARTHBOUND = {"takes_messages": False}
TALKING = {"takes_messages": True}
NINTH = {"time": "---09T23:45Z"}


def nmea(symbol: str | None = None, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """A place from a sentence; the symbol only where the destination names one."""
    return {"kind": "position", "written": "raw-nmea", **({"symbol": symbol} if symbol else {}), **more}
