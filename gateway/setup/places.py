"""Where the antenna is, as people write it, said back in other words; and what is usual on the air there."""

import re
from typing import NamedTuple

from gateway.frames.heard import Place
from gateway.reports import locator

HOW_TO_WRITE = "write a locator as IO88AO, or degrees as 58.6000 -3.9167, or as 58°36.0'N 3°55.0'W"

_NUMBER = r"\d{1,3}(?:\.\d+)?"
_DEGREES = re.compile(rf"\s*([-+]?{_NUMBER})°?\s*[,;\s]\s*([-+]?{_NUMBER})°?\s*")
_COMMA = re.compile(r"(?<=\d),(?=\d)")
"""Where many write the point of a number."""

_HEMISPHERES = "NSEW"
_BEFORE = re.compile(rf"\s*([{_HEMISPHERES}])([^{_HEMISPHERES}]+)([{_HEMISPHERES}])([^{_HEMISPHERES}]+)")
_AFTER = re.compile(rf"([^{_HEMISPHERES}]+)([{_HEMISPHERES}])([^{_HEMISPHERES}]+)([{_HEMISPHERES}])\s*")
_SEXAGESIMAL = re.compile(
    rf"[\s,;]*({_NUMBER})\s*[°\s]?(?:\s*({_NUMBER})\s*['\u2032\s]?)?(?:\s*({_NUMBER})\s*[\"\u2033]?)?[\s,;]*"
)
_POLE, _DATE_LINE = 90, 180


def read_place(text: str) -> tuple[Place, str | None]:
    """The place that `text` names, and the locator where it is one. Raises `ValueError`."""
    text = text.strip()
    if locator.is_locator(text):
        cell = locator.read(text)
        return Place(cell.latitude, cell.longitude), text.upper()
    plain = _DEGREES.fullmatch(text) or _DEGREES.fullmatch(_COMMA.sub(".", text))
    if plain is not None:
        return _on_the_globe(float(plain[1]), float(plain[2])), None
    upper = _COMMA.sub(".", text.upper())
    if (before := _BEFORE.fullmatch(upper)) is not None:
        return _of_hemispheres((before[1], before[2]), (before[3], before[4])), None
    if (after := _AFTER.fullmatch(upper)) is not None:
        return _of_hemispheres((after[2], after[1]), (after[4], after[3])), None
    raise ValueError(f"{text!r} is no place: {HOW_TO_WRITE}")


def said_back(place: Place) -> str:
    """The place in degrees and as a locator, and where in the world that is."""
    north = "north" if place.latitude >= 0 else "south"
    east = "east" if place.longitude >= 0 else "west"
    degrees = f"{abs(place.latitude):.4f} {north[0].upper()}, {abs(place.longitude):.4f} {east[0].upper()}"
    cell = locator.write(place.latitude, place.longitude)
    return f"{degrees}, which is {cell}: {north} of the equator, {east} of Greenwich"


class _Region(NamedTuple):
    """A part of the world between two parallels and two meridians, and what is usual there."""

    south: float
    north: float
    west: float
    east: float
    usual: str


_REGIONS = (  # common practice, from the trade's own lists; the bounds are coarse, and ours
    _Region(-48, -34, 166, 179, "144.575 MHz"),
    _Region(-44, -10, 112, 154, "145.175 MHz"),
    _Region(30, 46, 130, 146, "144.640 or 144.660 MHz"),
    _Region(20, 50, 98, 122, "144.640 MHz"),
    _Region(14, 72, -168, -52, "144.390 MHz"),
    _Region(-36, 72, -25, 60, "144.800 MHz"),
)


def usual_frequency(place: Place) -> str | None:
    """What is usual on VHF at `place`; None where it is not known here. The local band plan goes first, always."""
    for region in _REGIONS:
        if region.south <= place.latitude <= region.north and region.west <= place.longitude <= region.east:
            return region.usual
    return None


def _of_hemispheres(first: tuple[str, str], second: tuple[str, str]) -> Place:
    """From two pairs of a hemisphere and what stands beside it. Raises `ValueError`."""
    latitudes = [pair for pair in (first, second) if pair[0] in "NS"]
    longitudes = [pair for pair in (first, second) if pair[0] in "EW"]
    if len(latitudes) != 1 or len(longitudes) != 1:
        raise ValueError(f"a place needs one of N and S, and one of E and W: {HOW_TO_WRITE}")
    return _on_the_globe(_signed(*latitudes[0]), _signed(*longitudes[0]))


def _signed(hemisphere: str, text: str) -> float:
    parts = _SEXAGESIMAL.fullmatch(text)
    if parts is None:
        raise ValueError(f"{text.strip()!r} are no degrees: {HOW_TO_WRITE}")
    degrees, minutes, seconds = (float(part or 0) for part in parts.groups())
    if minutes >= 60 or seconds >= 60:  # noqa: PLR2004 - of a degree, of a minute
        raise ValueError("there are less than 60 minutes in a degree, and less than 60 seconds in a minute")
    return (degrees + minutes / 60 + seconds / 3600) * (-1 if hemisphere in "SW" else 1)


def _on_the_globe(latitude: float, longitude: float) -> Place:
    if not (abs(latitude) <= _POLE and abs(longitude) <= _DATE_LINE):
        raise ValueError("latitude is from -90 to 90 degrees and stands first, longitude from -180 to 180")
    return Place(round(latitude, 6) + 0.0, round(longitude, 6) + 0.0)
