"""Raw records that some weather stations put on the air without a word around them (APRS101 chapter 12).

Hexadecimal numbers of four digits, whose order the stations' makers published (from memory); dashes for what is absent.
"""

import re

from gateway.reports import units
from gateway.reports.measured import Weather
from gateway.reports.report import Located, Report, Unreadable, WeatherReport

PACKET_MARK = b"$ULTW"
LOGGING_MARK = b"!!"

_NUMBERS = re.compile(rb"(?:[0-9A-Fa-f]{4}|-{4})+")
_DIGITS = 4
_FEWEST_NUMBERS = 5

_PACKET_ORDER = (
    "gust", "direction", "temperature", "rain_ever", "pressure", "pressure_change", "correction_low", "correction_high",
    "humidity", "day", "minute", "rain_today", "wind",
)  # fmt: skip
_LOGGING_ORDER = (
    "wind_now", "direction", "temperature", "rain_ever", "pressure", "indoor_temperature", "humidity",
    "indoor_humidity", "day", "minute", "rain_today", "wind",
)  # fmt: skip


def read_packet(_destination: str, information: bytes) -> Report:
    """A record of the form `$ULTW…`: gust, direction and what follows. Raises `Unreadable`."""
    return _read(information[len(PACKET_MARK) :], _PACKET_ORDER)


def read_logging(_destination: str, information: bytes) -> Report:
    """A record of the form `!!…`, which knows the air indoors as well. Raises `Unreadable`."""
    return _read(information[len(LOGGING_MARK) :], _LOGGING_ORDER)


def _read(digits: bytes, order: tuple[str, ...]) -> Report:
    match = _NUMBERS.match(digits)
    if match is None or match.end() < _FEWEST_NUMBERS * _DIGITS:
        raise Unreadable("a weather station's raw record holds at least five numbers of four hexadecimal digits")
    groups = (digits[at : at + _DIGITS] for at in range(0, match.end(), _DIGITS))
    numbers = {name: int(group, 16) for name, group in zip(order, groups, strict=False) if group != b"----"}
    weather = Weather(
        wind_deg=_direction(numbers),
        wind_ms=_scaled(numbers, "wind" if "wind" in numbers else "wind_now", units.MS_PER_KMH / 10),
        gust_ms=_scaled(numbers, "gust", units.MS_PER_KMH / 10),
        temperature_c=_temperature(numbers, "temperature"),
        humidity_pct=_scaled(numbers, "humidity", 0.1),
        pressure_hpa=_scaled(numbers, "pressure", 0.1) or None,
        rain_today_mm=_scaled(numbers, "rain_today", units.MM_PER_INCH / 100),
        indoor_temperature_c=_temperature(numbers, "indoor_temperature"),
        indoor_humidity_pct=_scaled(numbers, "indoor_humidity", 0.1),
    )
    return WeatherReport(Located(weather=weather))


def _scaled(numbers: dict[str, int], name: str, factor: float) -> float | None:
    return numbers[name] * factor if name in numbers else None


def _temperature(numbers: dict[str, int], name: str) -> float | None:
    """From tenths of a degree Fahrenheit, in two's complement."""
    if name not in numbers:
        return None
    tenths = numbers[name] - (0x10000 if numbers[name] & 0x8000 else 0)
    return units.celsius(tenths / 10)


def _direction(numbers: dict[str, int]) -> int | None:
    """From 256ths of a circle."""
    return round((numbers["direction"] & 0xFF) * 360 / 256) if "direction" in numbers else None
