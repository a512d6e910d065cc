"""A canvas on which boxes and texts are put, each into a part of it, as large as it goes. Pure."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from gateway.glance import lettering
from gateway.glance.lettering import LINE, Wordings
from gateway.glance.scene import Box, Canvas, Colours, Ink, Lettering, Scene

LEAST_SIZES: dict[Colours, float] = {"full": 9.0, "2": 10.0}
"""The smallest letters that can be read, in pixels: without grey at their edges they must be larger."""

_FEWEST_LETTERS = 8
"""The width of a canvas is that of so many of the largest letters of running text."""

_LESS = 0.8
"""So much smaller letters may be for the sake of a longer wording."""


@dataclass(frozen=True, slots=True)
class Space:
    """A part of the canvas, in whole pixels."""

    left: int
    top: int
    width: int
    height: int

    def within(self, margin: int) -> "Space":
        """What is left of it inside a margin."""
        return Space(
            self.left + margin, self.top + margin, max(1, self.width - 2 * margin), max(1, self.height - 2 * margin)
        )

    def rows(self, *shares: float) -> Iterator["Space"]:
        """Rows one below the other, as high as their shares; together they are the whole."""
        taken, top = 0.0, self.top
        for share in shares:
            taken += share
            bottom = self.top + round(self.height * taken / sum(shares))
            yield Space(self.left, top, self.width, bottom - top)
            top = bottom

    def columns(self, count: int, gap: int) -> Iterator["Space"]:
        """So many columns of one width."""
        width = (self.width - gap * (count - 1)) // count
        for place in range(count):
            yield Space(self.left + place * (width + gap), self.top, width, self.height)

    def first(self, width: int) -> "Space":
        """Its left part."""
        return Space(self.left, self.top, max(1, width), self.height)

    def last(self, width: int) -> "Space":
        """Its right part."""
        return Space(self.left + self.width - width, self.top, max(1, width), self.height)

    def middle(self, height: int) -> "Space":
        """As much of it, up and down from its middle."""
        height = min(height, self.height)
        return Space(self.left, self.top + (self.height - height) // 2, self.width, height)

    def down_to(self, below: "Space") -> "Space":
        """This row and all down to another one."""
        return Space(self.left, self.top, self.width, below.top + below.height - self.top)


class Sheet:
    """What is put on the canvas."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self.boxes: list[Box] = []
        self.letterings: list[Lettering] = []
        self.whole = Space(0, 0, canvas.width, canvas.height)
        self.margin = max(2, min(canvas.width, canvas.height) // 32)
        self.least = LEAST_SIZES[canvas.colours]
        self.highest_line = math.ceil(canvas.width / _FEWEST_LETTERS * LINE)
        """Of running text, which would else be cut after a word on a screen that is high and narrow."""

    @property
    def least_line(self) -> int:
        """How high a line of the smallest letters is."""
        return math.ceil(self.least * LINE)

    def fill(self, area: Space, ink: Ink) -> None:
        """Fill an area."""
        self.boxes.append(Box(area.left, area.top, area.width, area.height, ink))

    def write(
        self, wordings: Wordings, area: Space, ink: Ink = Ink.TEXT, *, right: bool = False, less: float = _LESS
    ) -> int:
        """Write what fits into the area, as large as it goes; how much of its width is left over."""
        largest = area.height / LINE
        least = min(self.least, largest)
        text, size = lettering.fitted(wordings, area.width, (largest, max(least, less * largest)), least)
        size = math.floor(size * 100) / 100
        if text:
            self.letterings.append(Lettering(text, area.left, area.top, area.width, area.height, size, ink, right))
        return area.width - math.ceil(lettering.width(text, size))

    def write_both(self, wordings: Wordings, end: Wordings, area: Space, inks: tuple[Ink, Ink]) -> None:
        """Two texts in one line and of one size: the second stands at its end."""
        area = area.middle(self.highest_line)
        largest = area.height / LINE
        least, gap = min(self.least, largest), round(area.height * 0.4)
        text, tail = lettering.pair(wordings, end, area.width - gap, max(least, _LESS * largest))
        both = lettering.width(text, 1) + lettering.width(tail, 1)
        row = area.middle(math.floor(max(least, min(largest, (area.width - gap) / max(both, 1))) * LINE))
        taken = math.ceil(lettering.width(tail, row.height / LINE))
        if tail:
            self.write((tail,), row.last(taken), inks[1], right=True)
        self.write((text,), row.first(area.width - taken - (gap if tail else 0)), inks[0])

    def write_lines(self, text: str, area: Space, ink: Ink, most: int) -> None:
        """As many lines as the text wants: at most so many, and on a high screen as many as there is room for."""
        most = max(most, area.height // self.highest_line)
        for count in range(1, most + 1):
            height = min(area.height / min(count + 1, most), self.highest_line)  # no lower than with a line more
            lines = lettering.wrapped(text, area.width, height / LINE * _LESS, count)
            if not lines or not lines[-1].endswith(lettering.ELLIPSIS):
                break
        for line, row in zip(lines, area.middle(self.highest_line * count).rows(*[1.0] * count), strict=False):
            self.write((line,), row.middle(math.ceil(row.height * _LESS)), ink)

    def scene(self, says: Iterable[str]) -> Scene:
        """All that was put there, and what it says in words."""
        return Scene(
            self.canvas, tuple(self.boxes), tuple(self.letterings), ". ".join(words for words in says if words)
        )
