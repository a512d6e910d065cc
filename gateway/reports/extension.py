"""Data extensions: seven octets between the symbol and the comment of a plain position (APRS101 chapter 7)."""

import re

from gateway.reports import units
from gateway.reports.place import Antenna, AreaShape, DrawnArea, Extension, Movement, Range, Signal

OCTETS = 7

_FULL_CIRCLE = 360
_COURSE_AND_SPEED = re.compile(rb"([0-9]{3}|\.{3}| {3})/([0-9]{3}|\.{3}| {3})")
_SPEEDS_KMH = tuple(knots * units.KMH_PER_KNOT for knots in range(1000))
_BEARING_AND_QUALITY = re.compile(rb"/([0-9]{3})/([0-9])([0-9])([0-9])")
_POWER_HEIGHT_GAIN = re.compile(rb"PHG([0-9])([0-H])([0-9])([0-8])(?:([0-9A-Z])/)?")
_STRENGTH_HEIGHT_GAIN = re.compile(rb"DFS([0-9])([0-H])([0-9])([0-8])")
_RANGE = re.compile(rb"RNG([0-9]{4})")
_AREA = re.compile(rb"([0-9])([0-9]{2})(/[0-9]|1[0-5])([0-9]{2})(?:\{([0-9]{1,3})\})?")

_AREA_SYMBOL = r"\l"
_AREA_SHAPES = tuple(AreaShape)
_AREA_COLOURS = ("black", "blue", "green", "cyan", "red", "violet", "yellow", "grey")
_AREA_STEPS_PER_DEGREE = 1500

FINDER_SYMBOL = "/\\"
_SIGNAL_WIDTHS_DEG = (None, 240, 120, 64, 32, 16, 8, 4, 2, 1)
_COUNTED_HITS = 8
"""N of the bearing's quality is hits in eight; 9 stands for a report made by hand."""


def read(data: bytes, at: int, symbol: str) -> tuple[Extension | None, int]:
    """The data extension at `at`, if there is one, and where it ends.

    An area has the form of a course and a speed: the symbol tells. A course or speed that no compass or clock could
    show, such as `999/999`, is left to the comment.
    """
    first = data[at : at + 1]
    if not first or first not in b"0123456789. PRD":
        return None, at
    if first == b"P":
        return _antenna(data, at)
    if first == b"R":
        return _range(data, at)
    if first == b"D":
        return _strength(data, at)
    return _area(data, at) if symbol == _AREA_SYMBOL else _movement(data, at)


def read_signal(data: bytes, at: int) -> tuple[Signal | None, int]:
    """The bearing and its quality (`/270/729`) that follow a direction finder's course and speed, if they do.

    N: hits in eight, 0 means that the rest says nothing, 9 a bearing taken by hand. R: the range is 2 to the R miles.
    Q: the width of the bearing, 9 the narrowest, 0 useless.
    """
    match = _BEARING_AND_QUALITY.match(data, at)
    if match is None:
        return None, at
    bearing, hits, reach, quality = (int(group) for group in match.groups())
    if bearing > _FULL_CIRCLE:
        return None, at
    if hits == 0:
        return Signal(bearing), match.end()
    share = hits / _COUNTED_HITS * 100 if hits <= _COUNTED_HITS else None
    return Signal(bearing, share, 2**reach * units.KM_PER_MILE, _SIGNAL_WIDTHS_DEG[quality]), match.end()


def _movement(data: bytes, at: int) -> tuple[Extension | None, int]:
    """`088/036`: degrees and knots. Course 0 is unknown, 360 is north; dots or spaces say nothing."""
    match = _COURSE_AND_SPEED.match(data, at)
    if match is None:
        return None, at
    degrees, knots = match.groups()
    course = int(degrees) if degrees.isdigit() else 0
    if course > _FULL_CIRCLE:
        return None, at
    speed = _SPEEDS_KMH[int(knots)] if knots.isdigit() else None
    if not course and speed is None:
        return None, at + OCTETS
    return Movement(course or None, speed), at + OCTETS


def _antenna(data: bytes, at: int) -> tuple[Extension | None, int]:
    """`PHG5132`: power is p² watts, height 10·2^h feet (h goes on after 9 with `:`), gain g dB, direction d·45°.

    The addenda let the beacons per hour follow, a digit or a letter from A for ten, and a slash (from memory).
    """
    match = _POWER_HEIGHT_GAIN.match(data, at)
    if match is None:
        return None, at
    beacons = int(match[5], 36) if match[5] else None
    height, gain, bearing = _height_gain_bearing(match[2], match[3], match[4])
    return Antenna(int(match[1]) ** 2, height, gain, bearing, beacons_per_hour=beacons), match.end()


def _strength(data: bytes, at: int) -> tuple[Extension | None, int]:
    """`DFS2360`: how strongly an all-round direction finder hears, in S points; the rest as for `PHG`."""
    match = _STRENGTH_HEIGHT_GAIN.match(data, at)
    if match is None:
        return None, at
    height, gain, bearing = _height_gain_bearing(match[2], match[3], match[4])
    return Antenna(None, height, gain, bearing, signal_strength_s=int(match[1])), match.end()


def _height_gain_bearing(height: bytes, gain: bytes, direction: bytes) -> tuple[float, int, int | None]:
    """Metres above average terrain, decibels, degrees. Direction 0 is all round, 8 is north."""
    feet = 10 * 2 ** (height[0] - ord("0"))
    return feet * units.METRES_PER_FOOT, int(gain), int(direction) * 45 or None


def _range(data: bytes, at: int) -> tuple[Extension | None, int]:
    """`RNG0050`: miles."""
    match = _RANGE.match(data, at)
    if match is None:
        return None, at
    return Range(int(match[1]) * units.KM_PER_MILE), match.end()


def _area(data: bytes, at: int) -> tuple[Extension | None, int]:
    """`Tyy/Cxx`: a shape, its colour, and how far it reaches down and to the side, each as the square root of 1/1500°.

    APRS101 chapter 11; the divisor from memory. Colours 8 to 15 are the first eight, dimmed. A line may say in braces
    how many miles it reaches to either side.
    """
    match = _AREA.match(data, at)
    if match is None:
        return None, at
    colour = int(match[3].lstrip(b"/"))
    dimmed, hue = divmod(colour, len(_AREA_COLOURS))
    return DrawnArea(
        area_shape=_AREA_SHAPES[int(match[1])],
        area_colour=("dark " if dimmed else "") + _AREA_COLOURS[hue],
        area_latitude_span_deg=int(match[2]) ** 2 / _AREA_STEPS_PER_DEGREE,
        area_longitude_span_deg=int(match[4]) ** 2 / _AREA_STEPS_PER_DEGREE,
        area_corridor_km=int(match[5]) * units.KM_PER_MILE if match[5] else None,
    ), match.end()
