"""Storms: what follows course and speed of a tropical storm on the map (APRS101 chapter 12)."""

import re
from typing import NamedTuple

from gateway.reports import units
from gateway.reports.measured import Storm, StormType, Weather

SYMBOL_CODE = "@"
"""Of either table: in the primary one the place is a forecast."""

_MEASURE = rb"([0-9]{3}|[. ]{3})"
_STORM = re.compile(
    rb"/(TS|HC|TD)/" + _MEASURE + rb"\^" + _MEASURE + rb"/([0-9]{4}|[. ]{4})"
    rb">" + _MEASURE + rb"&" + _MEASURE + rb"(?:%" + _MEASURE + rb")?"
)
_TYPES = {
    b"TD": StormType.TROPICAL_DEPRESSION,
    b"TS": StormType.TROPICAL_STORM,
    b"HC": StormType.HURRICANE,
}


class StormData(NamedTuple):
    """A storm and its weather."""

    storm: Storm
    weather: Weather


def read(data: bytes, at: int) -> tuple[StormData | None, int]:
    """`/HC/150^200/0980>090&030%040` at `at`, if it stands there, and where it ends.

    Sustained wind and gusts in knots, pressure at the centre, then how far, in nautical miles, winds of hurricane
    strength, of storm strength and, if given, of whole gale reach. Dots: not known.
    """
    match = _STORM.match(data, at)
    if match is None:
        return None, at
    wind, gust, pressure, hurricane, tropical, gale = (
        int(group) if group and group.isdigit() else None for group in match.groups()[1:]
    )
    weather = Weather(
        wind_ms=None if wind is None else wind * units.MS_PER_KNOT,
        gust_ms=None if gust is None else gust * units.MS_PER_KNOT,
        pressure_hpa=pressure or None,
    )
    storm = Storm(_TYPES[match[1]], _reach(hurricane), _reach(tropical), _reach(gale))
    return StormData(storm, weather), match.end()


def _reach(nautical_miles: int | None) -> float | None:
    return None if nautical_miles is None else nautical_miles * units.KM_PER_NAUTICAL_MILE
