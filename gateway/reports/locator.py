"""Maidenhead locators, both ways: fields of 20° by 10°, squares of 2° by 1°, subsquares of 5' by 2.5' and on (IARU)."""

import re
from typing import NamedTuple

_LOCATOR = re.compile(r"[A-R]{2}[0-9]{2}(?:[A-X]{2}(?:[0-9]{2})?)?", re.IGNORECASE | re.ASCII)

_DIVISIONS = (18, 10, 24, 10)
"""Into how many parts each pair of characters divides what the pair before it left."""
_FIRST_CHARACTERS = ("A", "0", "A", "0")
_LENGTHS = (4, 6, 8)
_LONGITUDES, _LATITUDES = 360, 180


class Cell(NamedTuple):
    """What a locator covers: its centre, WGS 84 degrees, and its size in degrees."""

    latitude: float
    longitude: float
    height_deg: float
    width_deg: float


def is_locator(text: str) -> bool:
    """Whether `text` is a locator of four, six or eight characters."""
    return _LOCATOR.fullmatch(text) is not None


def read(text: str) -> Cell:
    """The cell that `text` names. Raises `ValueError` where it is no locator of four, six or eight characters."""
    if not is_locator(text):
        raise ValueError("a locator is two letters A to R, two digits, and perhaps two letters A to X and two digits")
    east = north = 0
    cells_around = 1
    for pair, division in enumerate(_DIVISIONS[: len(text) // 2]):
        first = ord(_FIRST_CHARACTERS[pair])
        east = east * division + ord(text[2 * pair].upper()) - first
        north = north * division + ord(text[2 * pair + 1].upper()) - first
        cells_around *= division
    width, height = _LONGITUDES / cells_around, _LATITUDES / cells_around
    return Cell(
        latitude=(north + 0.5) * _LATITUDES / cells_around - 90,
        longitude=(east + 0.5) * _LONGITUDES / cells_around - 180,
        height_deg=height,
        width_deg=width,
    )


def write(latitude: float, longitude: float, characters: int = 6) -> str:
    """The locator of a point, WGS 84 degrees. The poles and the date line belong to the last cell beside them.

    Raises `ValueError` for a point off the globe or a length other than four, six or eight.
    """
    if characters not in _LENGTHS:
        raise ValueError("a locator has four, six or eight characters")
    if not (-90 <= latitude <= 90 and -180 <= longitude <= 180):  # noqa: PLR2004 - the globe's own numbers
        raise ValueError("latitude is from -90 to 90 degrees, longitude from -180 to 180")
    divisions = _DIVISIONS[: characters // 2]
    cells_around = 1
    for division in divisions:
        cells_around *= division
    east = min(int((longitude + 180) * cells_around / _LONGITUDES), cells_around - 1)
    north = min(int((latitude + 90) * cells_around / _LATITUDES), cells_around - 1)
    pairs = []
    for division, first in reversed([*zip(divisions, _FIRST_CHARACTERS, strict=False)]):
        east, easting = divmod(east, division)
        north, northing = divmod(north, division)
        pairs.append(chr(ord(first) + easting) + chr(ord(first) + northing))
    return "".join(reversed(pairs))
