"""The screen of a watch: what is known of a gateway in, the lines of a terminal out. No I/O, no clock.

What matters most stands first, so that a small window cuts off the rest: who is asked and whether they answer,
emergencies, alerts, the parts with the worst first, the counts, and then as many of the last frames as there is room.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from enum import Enum, auto

from gateway.commands.watching import words
from gateway.commands.watching.columns import cut, shown, width, wrapped
from gateway.commands.watching.watched import Watched
from gateway.glance.shown import HealthShown, PartShown
from gateway.groundwork.part import State

FEWEST_FRAMES = 4
"""With the heading; for so many lines the parts that are well are drawn together into one."""

LINES_OF_ONE = 3
"""So many lines of the screen an emergency or an alert takes at the most."""

ROWS_FOR_EACH_URGENT = 8
"""In so many rows of the window, one emergency and one alert are shown; the others are counted."""

MOST_AT_ONCE = 5

ROWS_FOR_WHOLE_SUMS = 20
"""In a window with fewer rows each of the counts takes one line, and its end is cut off."""

_WORST_FIRST = {state: -place for place, state in enumerate(State)}


class Emphasis(Enum):
    """How a line is set off; what it says, it says in words as well."""

    PLAIN = auto()
    STRONG = auto()
    URGENT = auto()


@dataclass(frozen=True, slots=True)
class ScreenLine:
    """One line of the screen, no wider than it."""

    text: str
    emphasis: Emphasis = Emphasis.PLAIN


def screen(watched: Watched, now: datetime, columns: int, rows: int) -> list[ScreenLine]:
    """At most `rows` lines of at most `columns` columns."""
    lines = [*_head(watched, now, columns), *_urgent(watched, now, columns, rows), *_trouble(watched, now, columns)]
    if watched.health is not None:
        after = [*_figures(watched.health, now, columns, most=1 if rows < ROWS_FOR_WHOLE_SUMS else None)]
        room = rows - len(lines) - len(after) - FEWEST_FRAMES
        lines += [*_parts(watched.health, now, columns, room), *after]
    lines += _frames(watched, now, columns, rows - len(lines))
    return lines[:rows]


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
    beside = [words.why_and_what_to_do(part), words.figures(part) if with_figures else ""]
    for text in beside:
        for line in wrapped(text, columns - 4):
            yield ScreenLine(cut(f"    {line}", columns))


def _figures(health: HealthShown, now: datetime, columns: int, *, most: int | None) -> Iterator[ScreenLine]:
    for text in (*words.sums(health.counts), *words.busy_words(health, now), *words.club_words(health.club, now)):
        yield from _wrapped(text, columns, most=most)


def _frames(watched: Watched, now: datetime, columns: int, room: int) -> Iterator[ScreenLine]:
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
