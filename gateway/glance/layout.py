"""Where everything stands on a small screen of any size: a view in, a scene out. Pure.

From the top: who was heard last, in large letters; how far and when, or the weather; what else was said, where there
is room; on a large screen the four tiles; and a line of health. An emergency takes the whole screen.
"""

from collections.abc import Iterator, Sequence

from gateway.glance.report_words import joined
from gateway.glance.scene import Canvas, Ink, Scene
from gateway.glance.sheet import Sheet, Space
from gateway.glance.tiles import Tile
from gateway.glance.view import CAUTION, StationView, View
from gateway.groundwork.part import State

_MIDDLE_HEIGHT = 96
_LARGE_HEIGHT, _LARGE_WIDTH = 200, 240
"""From this height on there is room for a line more, and in this size for the tiles."""

_AGE_SHARE = 0.42
"""At most so much of a line the age takes, where the rest of it is broken into lines."""

_NAME_SHARE, _WORD_SHARE, _NUMBER_SHARE = 0.28, 0.26, 0.22
"""How high what stands on a tile may be for its width, so that it is of one size on all four."""


def scene(view: View, canvas: Canvas) -> Scene:
    """The picture of a view."""
    sheet = Sheet(canvas)
    if view.emergency is not None:
        _emergency(view, view.emergency, sheet)
    else:
        _usual(view, sheet)
    return sheet.scene(_spoken(view))


def _usual(view: View, sheet: Sheet) -> None:
    if _is_large(sheet):
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


def _station(station: StationView, areas: Sequence[Space], sheet: Sheet) -> None:
    """The last station: its call, its facts with their age, its words, where there is room for them."""
    call, facts, words = areas
    sheet.write((station.source,), call)
    inks = (Ink.TEXT, Ink.FAINT)
    if station.facts:
        sheet.write_both(station.facts, station.age, facts, inks)
        text = station.words if _is_large(sheet) else joined((station.picture, station.words))
        if words.height:
            sheet.write_lines(text, words, Ink.TEXT, 2 if _is_large(sheet) else 1)
    elif _is_large(sheet):
        sheet.write_lines(station.words or station.picture, facts.down_to(words), Ink.TEXT, 2)
    elif words.height:
        room = round(facts.width * _AGE_SHARE)
        age = facts.middle(round(0.8 * sheet.highest_line)).last(room)
        taken = room - sheet.write(station.age, age, Ink.FAINT, right=True)
        sheet.write_lines(
            station.words or station.picture,
            facts.down_to(words).first(facts.width - taken - sheet.margin),
            Ink.TEXT,
            2,
        )
    else:
        sheet.write_both((station.words or station.picture,), station.age[-1:], facts.middle(sheet.least_line), inks)


def _tiles(tiles: tuple[Tile, ...], area: Space, sheet: Sheet) -> None:
    """All four side by side: a bar above what is well, and the whole tile filled where it is not."""
    for tile, column in zip(tiles, area.columns(len(tiles) or 1, sheet.margin), strict=False):
        ink, faint = Ink.TEXT, Ink.FAINT
        if tile.is_well:
            mark = Ink.FAINT if tile.state is None else Ink.GOOD
            sheet.fill(Space(column.left, column.top, column.width, max(2, sheet.margin // 2)), mark)
        else:
            sheet.fill(column, _ink_of(tile.state))
            ink = faint = Ink.ON_BOX
        name, word, number = column.within(sheet.margin).rows(0.28, 0.44, 0.28)
        sheet.write((tile.name,), name.middle(round(column.width * _NAME_SHARE)), faint)
        sheet.write((tile.word,), word.middle(round(column.width * _WORD_SHARE)), ink)
        sheet.write((tile.number,), number.middle(round(column.width * _NUMBER_SHARE)), faint)


def _bar(view: View, area: Space, sheet: Sheet) -> None:
    """The line of health, with the clock: filled where something wants to be seen to."""
    wordings, ink = (view.silent, Ink.BAD) if view.silent else (view.state, _ink_of(view.worst))
    inks = (Ink.ON_BOX, Ink.ON_BOX)
    if ink is Ink.GOOD:
        inks = (Ink.TEXT, Ink.FAINT)
        sheet.fill(Space(area.left, area.top, area.width, max(1, sheet.margin // 2)), ink)
    else:
        sheet.fill(area, ink)
    sheet.write_both(wordings, view.clock, area.within(sheet.margin), inks)


def _is_large(sheet: Sheet) -> bool:
    return sheet.canvas.height >= _LARGE_HEIGHT and sheet.canvas.width >= _LARGE_WIDTH


def _ink_of(state: State | None) -> Ink:
    if state in {None, State.OK}:
        return Ink.GOOD
    return Ink.BAD if state in {State.DOWN, State.DEGRADED} else Ink.CARE


def _emergency(view: View, station: StationView, sheet: Sheet) -> None:
    sheet.fill(sheet.whole, Ink.BAD)
    area = sheet.whole.within(sheet.margin)
    has_words = sheet.canvas.height >= _MIDDLE_HEIGHT
    head, call, facts, words, caution = area.rows(0.2, 0.34, 0.22, 0.22 if has_words else 0.0, 0.16)
    left_over = sheet.write(("EMERGENCY",), head.first(round(0.6 * head.width)), Ink.ON_BOX)
    sheet.write(view.silent or view.clock, head.last(left_over + round(0.37 * head.width)), Ink.ON_BOX, right=True)
    sheet.write((station.source,), call, Ink.ON_BOX)
    sheet.write_both(station.facts or (station.words,), station.age, facts, (Ink.ON_BOX, Ink.ON_BOX))
    if has_words and station.facts:
        sheet.write_lines(station.words, words, Ink.ON_BOX, 2 if _is_large(sheet) else 1)
    sheet.write(CAUTION, caution, Ink.ON_BOX, less=0.5)


def _spoken(view: View) -> Iterator[str]:
    station = view.emergency or view.station
    if view.emergency is not None:
        yield "EMERGENCY"
    if station is None:
        yield "nothing heard yet"
    else:
        yield ", ".join(words for words in (station.source, *station.facts[:1], station.age[0], station.words) if words)
    yield next((words for words in view.silent or view.state if words), "")
    if view.emergency is not None:
        yield CAUTION[0]
