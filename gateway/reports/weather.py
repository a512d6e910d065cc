"""Weather: the fields behind a place or a time, and storms (APRS101 chapter 12)."""

import re
from collections.abc import Callable
from typing import Any, NamedTuple

from gateway.reports import units
from gateway.reports.comment import read as read_comment
from gateway.reports.measured import Storm, StormType, Weather
from gateway.reports.moment import read_month_time
from gateway.reports.report import Located, Report, Unreadable, WeatherReport

_FULL_CIRCLE = 360
_MONTH_TIME_OCTETS = 8

_WIND = re.compile(rb"([0-9]{3}|[. -]{3})/([0-9]{3}|[. -]{3})")
_BLANK = re.compile(rb"[. -]*")
_NUMBER = re.compile(rb"-?[0-9]+|[0-9]*\.[0-9]+")

_UNITS_OF_THE_STANDARD = b"Dvs|HKT|PIC|RSW|U-II|UII|U2R|U2k|U5|Upkm"
_DEVICE = re.compile(rb"[A-Za-z](?:" + _UNITS_OF_THE_STANDARD + rb")(?![A-Za-z0-9])")


_MEASURE = rb"([0-9]{3}|[. ]{3})"
_STORM = re.compile(
    rb"/(TS|HC|TD)/" + _MEASURE + rb"\^" + _MEASURE + rb"/([0-9]{4}|[. ]{4})"
    rb">" + _MEASURE + rb"&" + _MEASURE + rb"(?:%" + _MEASURE + rb")?"
)
_STORM_TYPES = {
    b"TD": StormType.TROPICAL_DEPRESSION,
    b"TS": StormType.TROPICAL_STORM,
    b"HC": StormType.HURRICANE,
}


class _Field(NamedTuple):
    """One letter of a weather report: how many octets follow it, and what they become."""

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
    return int(value) if 0 <= value <= _FULL_CIRCLE else None


def _humidity(value: float) -> int | None:
    """`h00` is 100 %."""
    return int(value) or 100 if value >= 0 else None


def _pressure(value: float) -> float | None:
    """Tenths of a hectopascal. There is no pressure of 0: it says that there is no barometer (common practice)."""
    return value / 10 if value > 0 else None


def _radiation(value: float) -> int:
    """Two digits, then the power of ten: nanosieverts an hour."""
    digits, power = divmod(int(abs(value)), 10)
    return digits * int(10**power)


_FIELDS: dict[int, _Field] = {
    ord("c"): _Field(3, "wind_deg", _direction),
    ord("g"): _Field(3, "gust_ms", _mph),
    ord("t"): _Field(3, "temperature_c", units.celsius),
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
_SPEED = _Field(3, "wind_ms", _mph)
_SNOW = _Field(3, "snow_last_day_mm", _inches)
_MAY_BE_NEGATIVE = "temperature_c"

Values = dict[str, Any]
"""Fields of `Weather` by name, as they are found: a number, or None for one that the station lacks."""


def read_wind(data: bytes, at: int) -> tuple[Values, int]:
    """The wind's direction and speed (`220/004`) that stand first behind a weather station's place.

    Miles an hour, as for the letters c and s that it stands in for: chapter 7 says knots of any DIR/SPD, chapter 12 and
    common practice say otherwise. 0 is taken as sent: a vane pointing north or no wind at all.
    """
    match = _WIND.match(data, at)
    if match is None:
        return {}, at
    wind: Values = {
        "wind_deg": _direction(int(match[1])) if match[1].isdigit() else None,
        "wind_ms": _mph(int(match[2])) if match[2].isdigit() else None,
    }
    return wind, match.end()


def read_fields(data: bytes, at: int, values: Values) -> int:
    """Read letter after letter from `at` into `values`, and say where the first that is none stands.

    The order varies. The letter s is the wind's speed where no wind came before, else snow. Of a field that comes
    twice the first counts: what looks like a second is the beginning of the sender's own words.
    """
    end = len(data)
    while at < end:
        letter = data[at]
        field = _FIELDS.get(letter)
        if field is None:
            if letter != ord("s"):
                break
            field = _SNOW if "wind_ms" in values else _SPEED
        digits = data[at + 1 : at + 1 + field.octets]
        if len(digits) < field.octets or field.name in values:
            break
        if digits.isdigit():
            values[field.name] = field.converted(int(digits))
        elif _BLANK.fullmatch(digits):
            values[field.name] = None
        elif _NUMBER.fullmatch(digits) and (digits[0] != ord("-") or field.name == _MAY_BE_NEGATIVE):
            values[field.name] = field.converted(float(digits))
        else:
            break
        at += 1 + field.octets
    return at


def read_device(data: bytes, at: int) -> tuple[str | None, int]:
    """The software's letter and the station's code (`wRSW`) behind the fields, if it is one that the standard lists.

    Any other text is left to the comment: `Home` has the same form.
    """
    match = _DEVICE.match(data, at)
    if match is None:
        return None, at
    return match[0].decode(), match.end()


def read_storm(data: bytes, at: int) -> tuple[Storm, Weather, int] | None:
    """What follows course and speed of a storm: `/HC/150^200/0980>090&030%040`.

    Sustained wind and gusts in knots, pressure at the centre, then how far, in nautical miles, winds of hurricane
    strength, of storm strength and, if given, of whole gale reach. Dots: not known.
    """
    match = _STORM.match(data, at)
    if match is None:
        return None
    wind, gust, pressure, hurricane, tropical, gale = (
        int(group) if group and group.isdigit() else None for group in match.groups()[1:]
    )
    storm = Storm(_STORM_TYPES[match[1]], _reach(hurricane), _reach(tropical), _reach(gale))
    weather = Weather(
        wind_ms=None if wind is None else wind * units.MS_PER_KNOT,
        gust_ms=None if gust is None else gust * units.MS_PER_KNOT,
        pressure_hpa=pressure or None,
    )
    return storm, weather, match.end()


def _reach(nautical_miles: int | None) -> float | None:
    return None if nautical_miles is None else nautical_miles * units.KM_PER_NAUTICAL_MILE


def read_positionless(_destination: str, information: bytes) -> Report:
    """A weather report that gives its time, month first, and no place. Raises `Unreadable`."""
    start = 1 + _MONTH_TIME_OCTETS
    if not information[1:start].isdigit() or len(information) < start:
        raise Unreadable("a weather report without a position begins with eight digits of time; these are not")
    values: Values = {}
    at = read_fields(information, start, values)
    if not values:
        raise Unreadable("no weather field follows the time")
    device, at = read_device(information, at)
    remarks = read_comment(information[at:])
    located = Located(
        weather=Weather(**values),
        device=device,
        comment=remarks.text,
        altitude_m=remarks.altitude_m,
        telemetry=remarks.telemetry,
        frequency=remarks.frequency,
    )
    return WeatherReport(located, read_month_time(information, 1))
