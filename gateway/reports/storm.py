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
    """A storm, its weather, and where the octets that say so end."""

    storm: Storm
    weather: Weather
    end: int


def read(data: bytes, at: int) -> StormData | None:
    """`/HC/150^200/0980>090&030%040` at `at`; None where nothing of the kind stands there.

    Sustained wind and gusts in knots, pressure at the centre, then how far, in nautical miles, winds of hurricane
    strength, of storm strength and, if given, of whole gale reach. Dots: not known.
    """
    match = _STORM.match(data, at)
    if match is None:
        return None
    wind, gust, pressure, hurricane, tropical, gale = (
        int(group) if group and group.isdigit() else None for group in match.groups()[1:]
    )
    weather = Weather(
        wind_ms=None if wind is None else wind * units.MS_PER_KNOT,
        gust_ms=None if gust is None else gust * units.MS_PER_KNOT,
        pressure_hpa=pressure or None,
    )
    return StormData(Storm(_TYPES[match[1]], _reach(hurricane), _reach(tropical), _reach(gale)), weather, match.end())


def _reach(nautical_miles: int | None) -> float | None:
    return None if nautical_miles is None else nautical_miles * units.KM_PER_NAUTICAL_MILE
