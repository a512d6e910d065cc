"""A small picture as boxes and lines of text, each with its place, before anyone draws it; and its colours.

Two drawers know what to make of one: `svg` and `png`. Two scenes that are equal make the same picture, so whoever has
drawn the one need not draw the other.
"""

from dataclasses import dataclass
from enum import Enum, auto
from typing import Literal


class Ink(Enum):
    """What something is drawn in: a meaning, to which a palette gives a colour."""

    GROUND = auto()
    TEXT = auto()
    FAINT = auto()
    """Text of less weight."""

    GOOD = auto()
    CARE = auto()
    BAD = auto()
    ON_BOX = auto()
    """Text on a box that is filled with one of the three above."""


@dataclass(frozen=True, slots=True)
class Box:
    """A filled rectangle, in whole pixels."""

    left: int
    top: int
    width: int
    height: int
    ink: Ink


@dataclass(frozen=True, slots=True)
class Lettering:
    """A line of text in the room that is kept for it: it reaches beyond that in no direction."""

    text: str
    left: int
    """Of the room; the text itself stands at its left or right."""

    top: int
    width: int
    height: int
    size: float
    ink: Ink
    right: bool = False


@dataclass(frozen=True, slots=True)
class Palette:
    """The colour of each ink, as red, green and blue."""

    ground: tuple[int, int, int]
    text: tuple[int, int, int]
    faint: tuple[int, int, int]
    good: tuple[int, int, int]
    care: tuple[int, int, int]
    bad: tuple[int, int, int]
    on_box: tuple[int, int, int]

    def colour(self, ink: Ink) -> tuple[int, int, int]:
        """Red, green and blue, 0 to 255."""
        colour: tuple[int, int, int] = getattr(self, ink.name.lower())
        return colour


_NIGHT, _PAPER = (16, 20, 24), (255, 255, 255)
_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
# Bluish green, orange and vermillion of the palette that Okabe and Ito published for every kind of sight (2008).
_GREEN, _ORANGE, _VERMILLION = (0, 158, 115), (230, 159, 0), (213, 94, 0)

Colours = Literal["full", "2"]
Ground = Literal["dark", "light"]

PALETTES: dict[tuple[Colours, Ground], Palette] = {
    ("full", "dark"): Palette(_NIGHT, (242, 242, 236), (154, 163, 168), _GREEN, _ORANGE, _VERMILLION, _BLACK),
    ("full", "light"): Palette(_PAPER, _NIGHT, (92, 100, 106), _GREEN, _ORANGE, _VERMILLION, _BLACK),
    ("2", "dark"): Palette(_BLACK, _WHITE, _WHITE, _WHITE, _WHITE, _WHITE, _BLACK),
    ("2", "light"): Palette(_WHITE, _BLACK, _BLACK, _BLACK, _BLACK, _BLACK, _WHITE),
}
"""A colour never carries a meaning alone: whatever it marks is said in a word beside it."""


NARROWEST, WIDEST = 128, 1920
LOWEST, HIGHEST = 64, 1200
"""The sizes that are drawn, in pixels; what is larger would cost memory, and is no small screen."""

SIZES = f"{NARROWEST}x{LOWEST} to {WIDEST}x{HIGHEST}"


@dataclass(frozen=True, slots=True)
class Canvas:
    """What is drawn on: its size in pixels, and what it can show."""

    width: int
    height: int
    colours: Colours = "full"
    ground: Ground = "dark"

    @property
    def can_be_drawn(self) -> bool:
        """Whether its size is one of those that are drawn."""
        return NARROWEST <= self.width <= WIDEST and LOWEST <= self.height <= HIGHEST

    @property
    def palette(self) -> Palette:
        """Its colours."""
        return PALETTES[self.colours, self.ground]


@dataclass(frozen=True, slots=True)
class Scene:
    """The whole picture: boxes first, then what is written."""

    canvas: Canvas
    boxes: tuple[Box, ...]
    letterings: tuple[Lettering, ...]
    says: str
    """The same in words, for who does not see it."""
