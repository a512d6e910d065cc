"""Compressed positions: thirteen octets for place, symbol and one thing more (APRS101 chapter 9)."""

import re

from gateway.reports import base91, units
from gateway.reports.place import Extension, Fix, Movement, Position, Range, Written
from gateway.reports.report import Unreadable

OCTETS = 13

_COMPRESSED = re.compile(rb"([/\\A-Za-j])[!-{]{8}([!-~])")
_OVERLAYS = bytes.maketrans(b"abcdefghij", b"0123456789")
"""A digit would read as the start of a plain position, so it is sent as a letter (APRS101 chapter 9)."""

_PER_DEGREE_OF_LATITUDE = 380926
_PER_DEGREE_OF_LONGITUDE = 190463
_SPACE, _BRACE = b" {"

_SENTENCE_BITS, _SENTENCE_GGA, _CURRENT_BIT = 0b011000, 0b010000, 0b100000
_LARGEST_TYPE = 0b111111

_SPEED_BASE, _RANGE_BASE, _ALTITUDE_BASE = 1.08, 1.08, 1.002
_SPEEDS_KMH = tuple((_SPEED_BASE**step - 1) * units.KMH_PER_KNOT for step in range(base91.BASE))
_RANGES_KM = tuple(2 * _RANGE_BASE**step * units.KM_PER_MILE for step in range(base91.BASE))


def read_place(data: bytes, at: int) -> tuple[Position, str]:
    """The position and the symbol in the ten octets at `at`. Raises `Unreadable`."""
    match = _COMPRESSED.match(data, at)
    if match is None or len(data) < at + OCTETS:
        raise Unreadable("neither a plain nor a compressed position stands where one belongs")
    latitude = 90 - base91.number(data[at + 1 : at + 5]) / _PER_DEGREE_OF_LATITUDE
    longitude = base91.number(data[at + 5 : at + 9]) / _PER_DEGREE_OF_LONGITUDE - 180
    if latitude < -90 or longitude > 180:  # noqa: PLR2004 - 91 to the fourth is a little more than the globe
        raise Unreadable("the compressed position lies beyond the pole or the date line")
    symbol = (match[1].translate(_OVERLAYS) + match[2]).decode()
    return Position(latitude, longitude, Written.COMPRESSED), symbol


def read_extra(first: int, second: int, origin: int) -> tuple[Extension | None, float | None, Fix | None]:
    """Course and speed or range, or altitude in metres, and whether the fix is current, from octets c, s and T.

    A space for c: nothing. A range is told by its `{` before T is looked at: as an altitude it would lie thousands of
    kilometres up. Course 0 is north here, not unknown as in the plain form: 360 cannot be said.
    """
    kind = origin - base91.FIRST
    if first == _SPACE or not (base91.FIRST <= first <= base91.LAST and base91.FIRST <= second <= base91.LAST):
        return None, None, None
    fix = None
    if 0 <= kind <= _LARGEST_TYPE:
        fix = Fix.CURRENT if kind & _CURRENT_BIT else Fix.OLD
    if first == _BRACE:
        return Range(_RANGES_KM[second - base91.FIRST]), None, fix
    if fix is not None and kind & _SENTENCE_BITS == _SENTENCE_GGA:
        feet = _ALTITUDE_BASE ** ((first - base91.FIRST) * base91.BASE + second - base91.FIRST)
        return None, feet * units.METRES_PER_FOOT, fix
    return Movement((first - base91.FIRST) * 4, _SPEEDS_KMH[second - base91.FIRST]), None, fix
