"""The screen of a watch: what is known of a gateway in, the lines of a terminal out. No I/O, no clock.

What matters most stands first, so that a small window cuts off the rest: who is asked and whether they answer,
emergencies, alerts, the four tiles, and then as many of the stations and of the last frames as there is room for. On
another face stand the parts with the worst first, and the counts.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum, auto

from gateway.commands.watching import words
from gateway.commands.watching.columns import cut, shown, width, wrapped
from gateway.commands.watching.face import HELP, KEYS, Face
from gateway.commands.watching.watched import Watched
from gateway.glance.shown import HealthShown, PartShown
from gateway.glance.tiles import tiles
from gateway.groundwork.part import State

LINES_OF_ONE = 3
"""So many lines of the screen an emergency or an alert takes at the most."""

ROWS_FOR_EACH_URGENT = 8
"""In so many rows of the window, one emergency and one alert are shown; the others are counted."""

MOST_AT_ONCE = 5

ROWS_FOR_WHOLE_SUMS = 20
"""In a window with fewer rows each of the counts takes one line, and its end is cut off."""

ROWS_WITHOUT_END = 10_000

LEAST_FRAMES = 2
"""Rows: a heading alone says nothing."""

_INDENT = 4

_WORST_FIRST = {state: -place for place, state in enumerate(State)}


class Emphasis(Enum):
    """How a line is set off; what it says, it says in words as well."""

    PLAIN = auto()
    STRONG = auto()
    URGENT = auto()


_EMPHASIS = {State.OK: Emphasis.PLAIN, State.DOWN: Emphasis.URGENT}


@dataclass(frozen=True, slots=True)
class ScreenLine:
    """One line of the screen, no wider than it."""

    text: str
    emphasis: Emphasis = Emphasis.PLAIN


def screen(watched: Watched, now: datetime, columns: int, rows: int, face: Face = Face.OVERVIEW) -> list[ScreenLine]:
    """At most `rows` lines of at most `columns` columns; the last one says what the keys do."""
    lines = [*_above(watched, now, columns, rows)]
    room = rows - 1 - len(lines)
    match face:
        case Face.HELP:
            lines += [line for text in HELP.split("\n\n") for line in (ScreenLine(""), *_wrapped(text, columns))]
        case Face.PARTS:
            lines += _counted(watched, now, columns, room)
        case Face.OVERVIEW:
            lines += _overview(watched, now, columns, room)
    lines = lines[: rows - 1]
    lines += [ScreenLine("")] * (rows - 1 - len(lines))
    return [*lines, ScreenLine(cut(KEYS, columns))][:rows]


def whole(watched: Watched, now: datetime, columns: int) -> list[ScreenLine]:
    """All of it, one below the other."""
    return [
        *_above(watched, now, columns, ROWS_WITHOUT_END),
        *_tiles(watched, now, columns),
        *_counted(watched, now, columns, ROWS_WITHOUT_END),
        *_stations(watched, now, columns, ROWS_WITHOUT_END),
        *_frames(watched, now, columns, ROWS_WITHOUT_END),
    ]


def _above(watched: Watched, now: datetime, columns: int, rows: int) -> Iterator[ScreenLine]:
    yield from _head(watched, now, columns)
    yield from _urgent(watched, now, columns, rows)
    yield from _trouble(watched, now, columns)


def _overview(watched: Watched, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
    above = [*_tiles(watched, now, columns)]
    yield from above
    room -= len(above)
    frames = min(len(watched.frames) + 1, max(room - len(watched.stations) - 1, room // 2))
    yield from _stations(watched, now, columns, room - frames)
    yield from _frames(watched, now, columns, frames)


def _counted(watched: Watched, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
    if watched.health is not None:
        health, most = watched.health, 1 if room < ROWS_FOR_WHOLE_SUMS else None
        texts = (*words.sums(health.counts), *words.busy_words(health, now), *words.club_words(health.club, now))
        after = [line for text in texts for line in _wrapped(text, columns, most=most)]
        yield from _parts(health, now, columns, room - len(after))
        yield from after


def _tiles(watched: Watched, now: datetime, columns: int) -> Iterator[ScreenLine]:
    """A line for each of the four, and what to do about it; nobody knows how they are while there is no answer."""
    health = watched.health
    if health is None or watched.silence is not None:
        return
    for tile in tiles(health, now):
        emphasis = _EMPHASIS.get(tile.state or State.OK, Emphasis.STRONG)
        line = f"{tile.name:8} {tile.word:14} {shown(tile.number)}"
        yield ScreenLine(cut(line, columns), emphasis)
        if not tile.is_well:
            yield from _indented(words.why_and_what_to_do(tile), columns)
    for text in words.sums(health.counts):
        if words.OFF in text:
            yield from _wrapped(text, columns, Emphasis.STRONG)


def _stations(watched: Watched, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
    stations = watched.stations
    shown_ones = stations[: max(0, room - 1)]
    if not shown_ones:
        return
    count = f"the last {len(shown_ones)} of {len(stations)}" if len(shown_ones) < len(stations) else f"{len(stations)}"
    yield ScreenLine(cut(f"Stations, the one heard last first ({count}):", columns), Emphasis.STRONG)
    for station, text in zip(shown_ones, words.station_table(shown_ones, now), strict=True):
        emphasis = Emphasis.STRONG if station.last.counts_as_emergency else Emphasis.PLAIN
        yield ScreenLine(cut(text, columns), emphasis)


def _head(watched: Watched, now: datetime, columns: int) -> Iterator[ScreenLine]:
    if watched.silence is not None:
        state = "NO ANSWER"
    elif watched.answers and watched.health is not None:
        state = watched.health.state.value
    else:
        state = "asking"
    clock = f"{now.astimezone(UTC):%H:%M:%S} UTC"
    title = f"Stile {watched.callsign}: {state}   {watched.address}"
    room = columns - width(clock) - 2
    if width(title) <= room:
        title = f"{title}{' ' * (columns - width(title) - width(clock))}{clock}"
    bad = watched.silence is not None or (watched.health is not None and watched.health.state is State.DOWN)
    yield ScreenLine(cut(title, columns), Emphasis.URGENT if bad else Emphasis.STRONG)
    yield from _wrapped(words.CAUTION, columns)


def _urgent(watched: Watched, now: datetime, columns: int, rows: int) -> Iterator[ScreenLine]:
    most = min(max(1, rows // ROWS_FOR_EACH_URGENT), MOST_AT_ONCE)
    emergencies = [words.emergency_words(heard, now) for heard in reversed(watched.emergencies.values())]
    alerts = [words.alert_words(alert, now) for alert in watched.alerts]
    for texts, emphasis, rest in (
        (emergencies, Emphasis.URGENT, "more stations in an emergency"),
        (alerts, Emphasis.STRONG, "more alerts"),
    ):
        for text in texts[:most]:
            yield from _wrapped(text, columns, emphasis, most=LINES_OF_ONE)
        if len(texts) > most:
            yield ScreenLine(cut(f"and {len(texts) - most} {rest}", columns), emphasis)


def _trouble(watched: Watched, now: datetime, columns: int) -> Iterator[ScreenLine]:
    if watched.silence is not None:
        since = words.moment(watched.silence.since, now)
        yield from _wrapped(
            f"The gateway does not answer since {since}: {watched.silence.trouble}", columns, Emphasis.URGENT
        )
        if watched.health is not None:
            yield from _wrapped("What stands below is from before.", columns, Emphasis.STRONG)
    if watched.missed:
        yield from _wrapped(f"{watched.missed} events are not shown: this watch could not keep up.", columns)


def _parts(health: HealthShown, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
    parts = sorted(health.parts, key=lambda part: _WORST_FIRST[part.state])
    label_columns = max((width(shown(part.label)) for part in parts), default=0)
    for with_figures in (True, False):
        whole = [line for part in parts for line in _part(part, now, columns, label_columns, with_figures=with_figures)]
        if len(whole) <= room:
            yield from whole
            return
    for part in parts:
        if part.state is not State.OK:
            yield from _part(part, now, columns, label_columns)
    well = [shown(part.label) for part in parts if part.state is State.OK]
    if well:
        yield from _wrapped(f"ok: {', '.join(well)}", columns)


def _part(
    part: PartShown, now: datetime, columns: int, label_columns: int, *, with_figures: bool = False
) -> Iterator[ScreenLine]:
    emphasis = Emphasis.PLAIN if part.state is State.OK else Emphasis.STRONG
    yield ScreenLine(cut(words.part_words(part, now, label_columns), columns), emphasis)
    yield from _indented(words.why_and_what_to_do(part), columns)
    if with_figures:
        yield from _indented(words.figures(part), columns)


def _frames(watched: Watched, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
    if room < LEAST_FRAMES:
        return
    yield ScreenLine(cut("The last frames, the newest first (times in UTC):", columns), Emphasis.STRONG)
    frames = watched.frames[: max(0, room - 1)]
    for frame, text in zip(frames, words.table_of(frames, now, columns), strict=True):
        yield ScreenLine(cut(text, columns), Emphasis.STRONG if frame.heard.counts_as_emergency else Emphasis.PLAIN)


def _wrapped(
    text: str, columns: int, emphasis: Emphasis = Emphasis.PLAIN, *, most: int | None = None
) -> Iterable[ScreenLine]:
    lines = [cut(line, columns) for line in wrapped(text, columns)]
    if most is not None and len(lines) > most:
        lines = [*lines[: most - 1], cut(" ".join(lines[most - 1 :]), columns)]
    return [ScreenLine(line, emphasis) for line in lines]


def _indented(text: str, columns: int) -> Iterator[ScreenLine]:
    for line in wrapped(text, columns - _INDENT):
        yield ScreenLine(cut(" " * _INDENT + line, columns))
