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


Colour = tuple[int, int, int]
"""Red, green and blue, 0 to 255."""

_NIGHT, _PAPER = (16, 20, 24), (255, 255, 255)
_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
# Bluish green, orange and vermillion of the palette that Okabe and Ito published for every kind of sight (2008).
_GREEN, _ORANGE, _VERMILLION = (0, 158, 115), (230, 159, 0), (213, 94, 0)

Colours = Literal["full", "2"]
Ground = Literal["dark", "light"]

PALETTES: dict[tuple[Colours, Ground], tuple[Colour, ...]] = {
    ("full", "dark"): (_NIGHT, (242, 242, 236), (154, 163, 168), _GREEN, _ORANGE, _VERMILLION, _BLACK),
    ("full", "light"): (_PAPER, _NIGHT, (92, 100, 106), _GREEN, _ORANGE, _VERMILLION, _BLACK),
    ("2", "dark"): (_BLACK, _WHITE, _WHITE, _WHITE, _WHITE, _WHITE, _BLACK),
    ("2", "light"): (_WHITE, _BLACK, _BLACK, _BLACK, _BLACK, _BLACK, _WHITE),
}
"""The colour of each ink, in their order. None carries a meaning alone: what it marks is said in a word beside it."""


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

    def colour(self, ink: Ink) -> Colour:
        """What an ink looks like on it."""
        return dict(zip(Ink, PALETTES[self.colours, self.ground], strict=True))[ink]


@dataclass(frozen=True, slots=True)
class Scene:
    """The whole picture: boxes first, then what is written."""

    canvas: Canvas
    boxes: tuple[Box, ...]
    letterings: tuple[Lettering, ...]
    says: str
    """The same in words, for who does not see it."""
