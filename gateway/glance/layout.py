"""Where everything stands on a small screen of any size: a view in, a scene out. Pure.

From the top: who was heard last, in large letters; how far and when, or the weather; what else was said, where there
is room; on a large screen the four tiles; and a line of health. An emergency takes the whole screen.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from gateway.glance import lettering
from gateway.glance.lettering import LINE, Wordings
from gateway.glance.report_words import joined
from gateway.glance.scene import Box, Canvas, Colours, Ink, Lettering, Scene
from gateway.glance.tiles import Tile
from gateway.glance.view import CAUTION, StationView, View
from gateway.groundwork.part import State

LEAST_SIZES: dict[Colours, float] = {"full": 9.0, "2": 10.0}
"""The smallest letters that can be read, in pixels: without grey at their edges they must be larger."""

_MIDDLE_HEIGHT = 96
_LARGE_HEIGHT, _LARGE_WIDTH = 200, 240
"""From this height on there is room for a line more, and in this size for the tiles."""

_END_SHARE = 0.42
"""At most so much of a line its end takes, where the rest of it is broken into lines."""

_FEWEST_LETTERS = 8
"""The width of a screen is that of so many of the largest letters of running text."""

_NAME_SHARE, _WORD_SHARE, _NUMBER_SHARE = 0.28, 0.26, 0.22
"""How high what stands on a tile may be for its width, so that it is of one size on all four."""

_LESS = 0.8
"""So much smaller letters may be for the sake of a longer wording."""


@dataclass(frozen=True, slots=True)
class _Space:
    left: int
    top: int
    width: int
    height: int

    def within(self, margin: int) -> "_Space":
        return _Space(
            self.left + margin, self.top + margin, max(1, self.width - 2 * margin), max(1, self.height - 2 * margin)
        )

    def rows(self, *shares: float) -> Iterator["_Space"]:
        """Rows one below the other, as high as their shares; together they are the whole."""
        taken, top = 0.0, self.top
        for share in shares:
            taken += share
            bottom = self.top + round(self.height * taken / sum(shares))
            yield _Space(self.left, top, self.width, bottom - top)
            top = bottom

    def columns(self, count: int, gap: int) -> Iterator["_Space"]:
        """So many columns of one width."""
        width = (self.width - gap * (count - 1)) // count
        for place in range(count):
            yield _Space(self.left + place * (width + gap), self.top, width, self.height)

    def lines(self, count: int) -> Iterator["_Space"]:
        """So many rows of one height."""
        return self.rows(*([1.0] * count))

    def first(self, width: int) -> "_Space":
        """Its left part."""
        return _Space(self.left, self.top, max(1, width), self.height)

    def last(self, width: int) -> "_Space":
        """Its right part."""
        return _Space(self.left + self.width - width, self.top, max(1, width), self.height)

    def middle(self, height: int) -> "_Space":
        """As much of it, up and down from its middle."""
        height = min(height, self.height)
        return _Space(self.left, self.top + (self.height - height) // 2, self.width, height)

    def down_to(self, below: "_Space") -> "_Space":
        """This row and all down to another one."""
        return _Space(self.left, self.top, self.width, below.top + below.height - self.top)


class _Sheet:
    """What is put on the canvas."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas
        self.boxes: list[Box] = []
        self.letterings: list[Lettering] = []
        self.whole = _Space(0, 0, canvas.width, canvas.height)
        self.margin = max(2, min(canvas.width, canvas.height) // 32)
        self.least = LEAST_SIZES[canvas.colours]
        self.highest_line = math.ceil(canvas.width / _FEWEST_LETTERS * LINE)
        """Of running text, which would else be cut after a word on a screen that is high and narrow."""

    @property
    def is_large(self) -> bool:
        return self.canvas.height >= _LARGE_HEIGHT and self.canvas.width >= _LARGE_WIDTH

    def fill(self, area: _Space, ink: Ink) -> None:
        self.boxes.append(Box(area.left, area.top, area.width, area.height, ink))

    def write(
        self, said: Wordings, area: _Space, ink: Ink = Ink.TEXT, *, right: bool = False, less: float = _LESS
    ) -> int:
        """Write what fits into the area, as large as it goes; how much of its width is left over."""
        largest = area.height / LINE
        least = min(self.least, largest)
        text, size = lettering.fitted(said, area.width, (largest, max(least, less * largest)), least)
        size = math.floor(size * 100) / 100
        if text:
            self.letterings.append(Lettering(text, area.left, area.top, area.width, area.height, size, ink, right))
        return area.width - math.ceil(lettering.width(text, size))

    def write_both(self, said: Wordings, end: Wordings, area: _Space, inks: tuple[Ink, Ink]) -> None:
        """Two texts in one line and of one size: the second stands at its end."""
        area = area.middle(self.highest_line)
        largest = area.height / LINE
        least, gap = min(self.least, largest), round(area.height * 0.4)
        text, tail = lettering.pair(said, end, area.width - gap, max(least, _LESS * largest))
        both = lettering.width(text, 1) + lettering.width(tail, 1)
        row = area.middle(math.floor(max(least, min(largest, (area.width - gap) / max(both, 1))) * LINE))
        taken = math.ceil(lettering.width(tail, row.height / LINE))
        if tail:
            self.write((tail,), row.last(taken), inks[1], right=True)
        self.write((text,), row.first(area.width - taken - (gap if tail else 0)), inks[0])

    def write_lines(self, text: str, area: _Space, ink: Ink, most: int) -> None:
        """As many lines as the text wants: at most so many, and on a high screen as many as there is room for."""
        most = max(most, area.height // self.highest_line)
        for count in range(1, most + 1):
            height = min(area.height / min(count + 1, most), self.highest_line)  # no lower than with a line more
            lines = lettering.wrapped(text, area.width, height / LINE * _LESS, count)
            if not lines or not lines[-1].endswith(lettering.ELLIPSIS):
                break
        for line, row in zip(lines, area.middle(self.highest_line * count).lines(count), strict=False):
            self.write((line,), row.middle(math.ceil(row.height * _LESS)), ink)

    def scene(self, says: Iterable[str]) -> Scene:
        return Scene(
            self.canvas, tuple(self.boxes), tuple(self.letterings), ". ".join(words for words in says if words)
        )


def scene(view: View, canvas: Canvas) -> Scene:
    """The picture of a view."""
    sheet = _Sheet(canvas)
    if view.emergency is not None:
        _emergency(view, view.emergency, sheet)
    else:
        _usual(view, sheet)
    return sheet.scene(_spoken(view))


def _usual(view: View, sheet: _Sheet) -> None:
    if sheet.is_large:
        main, strip, bar = sheet.whole.rows(0.64, 0.24, 0.12)
        if view.tiles:
            _tiles(view.tiles, strip, sheet)
        else:
            _, bar = strip.down_to(bar).rows(0.4, 0.6)
        shares = (0.15, 0.4, 0.23, 0.22)
    elif sheet.canvas.height >= _MIDDLE_HEIGHT:
        main, bar = sheet.whole.rows(0.8, 0.2)
        shares = (0.0, 0.46, 0.3, 0.24)
    else:
        main, bar = sheet.whole.rows(0.75, 0.25)
        shares = (0.0, 0.6, 0.4, 0.0)
    heading, *rest = main.within(sheet.margin).rows(*shares)
    if view.station is None:
        sheet.write_lines("nothing heard yet" if view.tiles else view.callsign, rest[0].down_to(rest[1]), Ink.TEXT, 2)
    else:
        if heading.height:
            end = (view.station.picture,) if view.station.facts else view.station.age
            sheet.write_both((f"heard last by {view.callsign}", "heard last"), end, heading, (Ink.FAINT, Ink.FAINT))
        _station(view.station, rest, sheet)
    _bar(view, bar, sheet)


def _station(station: StationView, areas: Sequence[_Space], sheet: _Sheet) -> None:
    """The last station: its call, its facts with their age, its words, where there is room for them."""
    call, facts, words = areas
    sheet.write((station.source,), call)
    inks = (Ink.TEXT, Ink.FAINT)
    if station.facts:
        sheet.write_both(station.facts, station.age, facts, inks)
        said = station.words if sheet.is_large else joined((station.picture, station.words))
        if words.height:
            sheet.write_lines(said, words, Ink.TEXT, 2 if sheet.is_large else 1)
    elif sheet.is_large:
        sheet.write_lines(station.words or station.picture, facts.down_to(words), Ink.TEXT, 2)
    elif words.height:
        room = round(facts.width * _END_SHARE)
        age = facts.middle(round(_LESS * sheet.highest_line)).last(room)
        taken = room - sheet.write(station.age, age, Ink.FAINT, right=True)
        sheet.write_lines(
            station.words or station.picture,
            facts.down_to(words).first(facts.width - taken - sheet.margin),
            Ink.TEXT,
            2,
        )
    else:
        sheet.write_both(
            (station.words or station.picture,), station.age[-1:], facts.middle(math.ceil(sheet.least * LINE)), inks
        )


def _tiles(tiles: tuple[Tile, ...], area: _Space, sheet: _Sheet) -> None:
    """All four side by side: a bar above what is well, and the whole tile filled where it is not."""
    for tile, column in zip(tiles, area.columns(len(tiles) or 1, sheet.margin), strict=False):
        ink, faint = Ink.TEXT, Ink.FAINT
        if tile.is_well:
            mark = Ink.FAINT if tile.state is None else Ink.GOOD
            sheet.fill(_Space(column.left, column.top, column.width, max(2, sheet.margin // 2)), mark)
        else:
            sheet.fill(column, _ink_of(tile.state))
            ink = faint = Ink.ON_BOX
        name, word, number = column.within(sheet.margin).rows(0.28, 0.44, 0.28)
        sheet.write((tile.name,), name.middle(round(column.width * _NAME_SHARE)), faint)
        sheet.write((tile.word,), word.middle(round(column.width * _WORD_SHARE)), ink)
        sheet.write((tile.number,), number.middle(round(column.width * _NUMBER_SHARE)), faint)


def _bar(view: View, area: _Space, sheet: _Sheet) -> None:
    """The line of health, with the clock: filled where something wants to be seen to."""
    said, ink = (view.silent, Ink.BAD) if view.silent else (view.state, _ink_of(view.worst))
    inks = (Ink.ON_BOX, Ink.ON_BOX)
    if ink is Ink.GOOD:
        inks = (Ink.TEXT, Ink.FAINT)
        sheet.fill(_Space(area.left, area.top, area.width, max(1, sheet.margin // 2)), ink)
    else:
        sheet.fill(area, ink)
    sheet.write_both(said, view.clock, area.within(sheet.margin), inks)


def _ink_of(state: State | None) -> Ink:
    if state in {None, State.OK}:
        return Ink.GOOD
    return Ink.BAD if state in {State.DOWN, State.DEGRADED} else Ink.CARE


def _emergency(view: View, station: StationView, sheet: _Sheet) -> None:
    sheet.fill(sheet.whole, Ink.BAD)
    area = sheet.whole.within(sheet.margin)
    has_words = sheet.canvas.height >= _MIDDLE_HEIGHT
    head, call, facts, words, caution = area.rows(0.2, 0.34, 0.22, 0.22 if has_words else 0.0, 0.16)
    left_over = sheet.write(("EMERGENCY",), head.first(round(0.6 * head.width)), Ink.ON_BOX)
    sheet.write(view.silent or view.clock, head.last(left_over + round(0.37 * head.width)), Ink.ON_BOX, right=True)
    sheet.write((station.source,), call, Ink.ON_BOX)
    sheet.write_both(station.facts or (station.words,), station.age, facts, (Ink.ON_BOX, Ink.ON_BOX))
    if has_words and station.facts:
        sheet.write_lines(station.words, words, Ink.ON_BOX, 2 if sheet.is_large else 1)
    sheet.write(CAUTION, caution, Ink.ON_BOX, less=0.5)


def _spoken(view: View) -> Iterator[str]:
    """The whole in words."""
    station = view.emergency or view.station
    if view.emergency is not None:
        yield "EMERGENCY"
    if station is None:
        yield "nothing heard yet"
    else:
        yield ", ".join(said for said in (station.source, *station.facts[:1], station.age[0], station.words) if said)
    yield next((said for said in view.silent or view.state if said), "")
    if view.emergency is not None:
        yield CAUTION[0]
