"""The fields of a weather report, one after another: a letter, and so many digits (APRS101 chapter 12).

Each is read by itself. Dots or blanks say that a value is absent. A value that is garbled, with a digit too many, too
few or a wrong one, says nothing: it is passed over, and reading goes on at the next letter that the standard knows. But
words may begin like a field, so what is passed over counts only where another field follows, the station's code, or
nothing. Else it is the beginning of the sender's words, and stays in the comment.
"""

import re
from collections.abc import Callable
from typing import Any, NamedTuple

from gateway.reports import units

Values = dict[str, Any]
"""Fields of `Weather` by name, as they are found: a number, or None for one that is absent or garbled."""

_FULL_CIRCLE = 360


class _Field(NamedTuple):
    """One letter: how many octets follow it, and what they become."""

    octets: int
    name: str
    converted: Callable[[float], float | None]


def _mph(value: float) -> float:
    return value * units.MS_PER_MPH


def _inches(value: float) -> float:
    return value * units.MM_PER_INCH


def _hundredths_of_an_inch(value: float) -> float:
    return value * units.MM_PER_INCH / 100


def _direction(value: float) -> int | None:
    return int(value) if value <= _FULL_CIRCLE else None


def _humidity(value: float) -> int:
    """`h00` is 100 %."""
    return int(value) or 100


def _pressure(value: float) -> float | None:
    """Tenths of a hectopascal. There is no pressure of 0: it says that there is no barometer (common practice)."""
    return value / 10 or None


def _radiation(value: float) -> int:
    """Two digits, then the power of ten: nanosieverts an hour."""
    digits, power = divmod(int(value), 10)
    return digits * int(10**power)


_TEMPERATURE = _Field(3, "temperature_c", units.celsius)
_SPEED = _Field(3, "wind_ms", _mph)
_SNOW = _Field(3, "snow_last_day_mm", _inches)

_FIELDS: dict[int, _Field] = {
    ord("c"): _Field(3, "wind_deg", _direction),
    ord("s"): _SPEED,
    ord("g"): _Field(3, "gust_ms", _mph),
    ord("t"): _TEMPERATURE,
    ord("r"): _Field(3, "rain_last_hour_mm", _hundredths_of_an_inch),
    ord("p"): _Field(3, "rain_last_day_mm", _hundredths_of_an_inch),
    ord("P"): _Field(3, "rain_today_mm", _hundredths_of_an_inch),
    ord("h"): _Field(2, "humidity_pct", _humidity),
    ord("b"): _Field(5, "pressure_hpa", _pressure),
    ord("L"): _Field(3, "irradiance_wm2", int),
    ord("l"): _Field(3, "irradiance_wm2", lambda value: int(value) + 1000),
    ord("#"): _Field(3, "rain_counter", int),
    # The last two come from the addenda, from memory.
    ord("X"): _Field(3, "radiation_nsvh", _radiation),
    ord("V"): _Field(3, "battery_v", lambda value: value / 10),
}

_BLANK = b". -"
_NEGATIVE = re.compile(rb"-[0-9]+")
_DECIMAL = re.compile(rb"[0-9]*\.[0-9]+")
_LIKE_A_VALUE = re.compile(rb"[-+. 0-9]*")

_THREE = rb"[0-9]{3}|[. -]{3}"
_WIND = re.compile(rb"(" + _THREE + rb")/(" + _THREE + rb")(?![0-9])")
_GARBLED_WIND = re.compile(rb"([^ /]{0,4})/([^ /]{0,4}?)(?=[csgtrpPhbLl#XV][-. 0-9])")
_DIGIT = re.compile(rb"[0-9]")

_STANDARD_UNITS = b"Dvs|HKT|PIC|RSW|U-II|UII|U2R|U2k|U5|Upkm"
_DEVICE = re.compile(rb"[A-Za-z](?:" + _STANDARD_UNITS + rb")(?![A-Za-z0-9])")


def read_wind(data: bytes, at: int) -> tuple[Values, int]:
    """The wind's direction and speed (`220/004`) that stand first behind a weather station's place.

    Miles an hour, as for the letters c and s that it stands in for: chapter 7 says knots of any DIR/SPD, chapter 12 and
    common practice say otherwise. 0 is taken as sent: a vane pointing north or no wind at all. One that is garbled is
    known by the field behind it.
    """
    match = _WIND.match(data, at)
    if match is None:
        match = _GARBLED_WIND.match(data, at)
        if match is None or not _DIGIT.search(match[0]) or not _is_value(data, match.end()):
            return {}, at
    direction, speed = (int(half) if len(half) == len(b"220") and half.isdigit() else None for half in match.groups())
    wind: Values = {
        "wind_deg": None if direction is None else _direction(direction),
        "wind_ms": None if speed is None else _mph(speed),
    }
    return wind, match.end()


def read_fields(data: bytes, at: int, values: Values) -> int:
    """Read field after field from `at` into `values`, and say where the first octet that belongs to none stands.

    The order varies. The letter s is the wind's speed where no wind came before, else snow. Of a value that comes twice
    the first counts: what looks like a second is the beginning of the sender's own words.
    """
    end = at
    speed_came = _SPEED.name in values
    while at < len(data):
        field = _FIELDS.get(data[at])
        if field is None and data[at] in _BLANK:
            at += 1
            continue
        if field is _SPEED and speed_came:
            field = _SNOW
        if field is None or values.get(field.name) is not None:
            break
        value = _value(data, at + 1, field)
        behind = at + 1 + field.octets if value is not _GARBLED else _behind_garbled(data, at, field)
        if behind is None:
            break
        if value is not _GARBLED:
            values[field.name] = value
            end = behind
        speed_came = speed_came or field is _SPEED
        at = behind
    if values and (at == len(data) or _DEVICE.match(data, at)):
        return at
    return end


_GARBLED = object()
"""In place of a value."""


def _is_value(data: bytes, at: int) -> bool:
    """Whether the letter of a field stands at `at`, and a value behind it that is not garbled."""
    field = _FIELDS.get(data[at]) if at < len(data) else None
    return field is not None and _value(data, at + 1, field) is not _GARBLED


def _value(data: bytes, at: int, field: _Field) -> object:
    """What stands at `at`: a number, None for blanks, or `_GARBLED`."""
    end = at + field.octets
    octets = data[at:end]
    has_a_digit_too_many = data[end : end + 2].removeprefix(b".")[:1].isdigit()
    if len(octets) < field.octets or has_a_digit_too_many:
        return _GARBLED
    if octets.isdigit():
        return field.converted(int(octets))
    if not octets.strip(_BLANK):
        return None
    # Temperatures may be below nought, and snow comes in tenths of an inch (common practice).
    if (field is _TEMPERATURE and _NEGATIVE.fullmatch(octets)) or (field is _SNOW and _DECIMAL.fullmatch(octets)):
        return field.converted(float(octets))
    return _GARBLED


def _behind_garbled(data: bytes, at: int, field: _Field) -> int | None:
    """Where reading can go on behind a garbled field; None where words stand rather than a value.

    Where digits follow the letter, that is the next letter within the field's width, else the end of what is like a
    value. Where none does, another field's letter must stand where the value should end.
    """
    width_end = at + 1 + field.octets
    value_end = _LIKE_A_VALUE.match(data, at + 1).end()  # type: ignore[union-attr]  # it matches nothing at all, too
    if value_end == at + 1:
        is_next = width_end < len(data) and data[width_end] in _FIELDS and b" " not in data[at:width_end]
        return width_end if is_next else None
    for place in range(value_end, min(width_end + 1, len(data))):
        if data[place] in _FIELDS:
            return place
        if data[place] == ord(" "):
            break
    return value_end


def read_device(data: bytes, at: int) -> tuple[str | None, int]:
    """The software's letter and the station's code (`wRSW`) behind the fields, if it is one that the standard lists.

    Any other text is left to the comment: `Home` has the same form.
    """
    match = _DEVICE.match(data, at)
    if match is None:
        return None, at
    return match[0].decode(), match.end()
