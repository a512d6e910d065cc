"""The small sums that stay when frames go: by the hour, and by the day.

Each call belongs to a transaction of the caller's. They are made of rows that are new in the file, so that nothing is
counted twice. What a clock that cannot be right has stamped is in no sum.
"""

import sqlite3
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from gateway.frames.header import is_network_callsign
from gateway.groundwork.clocks import is_plausible
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.distances import IMPLAUSIBLE, Measured, class_of
from gateway.history.period import LONGEST_MS
from gateway.journal.batch import Row

FORWARD = "forward"
SENT = "sent"
RAN = "ran"

MOST_STATIONS_A_DAY = 5000
"""Made-up callsigns fill no disk: past it, those that are new on a day are one sum, without a name."""

_ADD_HOURS = "INSERT INTO hours VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET frames = frames + excluded.frames"
_ADD_STATIONS = (
    "INSERT INTO days_of_stations VALUES (?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET frames = frames + excluded.frames,"
    " direct = direct + excluded.direct, last_ms = max(last_ms, excluded.last_ms)"
)
_ADD_REACH = (
    "INSERT INTO days_of_reach VALUES (?, ?, ?, ?, ?, ?) ON CONFLICT DO UPDATE SET frames = frames + excluded.frames,"
    " farthest_ms = CASE WHEN excluded.farthest_m < farthest_m THEN farthest_ms"
    " WHEN excluded.farthest_m > farthest_m THEN excluded.farthest_ms"
    " ELSE max(farthest_ms, excluded.farthest_ms) END,"
    " farthest_m = max(farthest_m, excluded.farthest_m)"
)
_ADD_DISTANCE = (
    "INSERT INTO days_of_distance VALUES (?, ?, ?, ?) ON CONFLICT DO UPDATE SET frames = frames + excluded.frames"
)


@dataclass(slots=True)
class _StationDay:
    frames: int = 0
    direct: int = 0
    last_ms: int = 0


@dataclass(slots=True)
class _ReachDay:
    frames: int = 0
    farthest: tuple[int, int] = (-1, 0)
    """In metres, and when last."""


def add(
    connection: sqlite3.Connection, rows: Sequence[tuple[Row, Measured | None]], sent_ms: Iterable[int] = ()
) -> None:
    """Add frames that are new in the file, and when lines were sent that were not known to be."""
    hours: Counter[tuple[int, str]] = Counter()
    stations: dict[tuple[int, str], _StationDay] = {}
    reach: dict[tuple[int, int, str], _ReachDay] = {}
    distances: Counter[tuple[int, int, int]] = Counter()
    for row, measured in rows:
        if not is_plausible(row.time_ms):
            continue
        day = row.time_ms // DAY_MS
        hours[row.time_ms // HOUR_MS, row.reason or FORWARD] += 1
        if row.source is not None and is_network_callsign(row.source):
            station = stations.setdefault((day, row.source), _StationDay())
            station.frames += 1
            station.direct += row.is_direct
            station.last_ms = max(station.last_ms, row.time_ms)
        if measured is not None and row.source is not None:
            one = reach.setdefault((day, measured.sector, row.source), _ReachDay())
            one.frames += 1
            one.farthest = max(one.farthest, (measured.distance_m, row.time_ms))
            if measured.sector != IMPLAUSIBLE:
                distances[day, measured.sector, class_of(measured.distance_m)] += 1
    hours.update((at_ms // HOUR_MS, SENT) for at_ms in sent_ms if is_plausible(at_ms))
    connection.executemany(_ADD_HOURS, [(*key, frames) for key, frames in hours.items()])
    stations = _within_bounds(connection, stations)
    connection.executemany(
        _ADD_STATIONS, [(*key, one.frames, one.direct, one.last_ms) for key, one in stations.items()]
    )
    connection.executemany(_ADD_REACH, [(*key, one.frames, *one.farthest) for key, one in reach.items()])
    connection.executemany(_ADD_DISTANCE, [(*key, frames) for key, frames in distances.items()])


def note_running(connection: sqlite3.Connection, time_ms: int) -> None:
    """The gateway runs in this hour, whatever it hears."""
    if is_plausible(time_ms):
        connection.execute("INSERT OR IGNORE INTO hours VALUES (?, ?, 1)", (time_ms // HOUR_MS, RAN))


def forget_old(connection: sqlite3.Connection, time_ms: int) -> None:
    """Delete the sums of what was heard more than ten years ago."""
    before_ms = time_ms - LONGEST_MS
    connection.execute("DELETE FROM hours WHERE hour < ?", (before_ms // HOUR_MS,))
    for table in ("days_of_stations", "days_of_reach", "days_of_distance"):
        connection.execute(f"DELETE FROM {table} WHERE day < ?", (before_ms // DAY_MS,))  # noqa: S608 - names of ours


def _within_bounds(
    connection: sqlite3.Connection, stations: dict[tuple[int, str], _StationDay]
) -> dict[tuple[int, str], _StationDay]:
    """The same; of a day that knows too many, those that are new on it are one without a name."""
    for day in {day for day, _ in stations}:
        counted = connection.execute("SELECT count(*) FROM days_of_stations WHERE day = ?", (day,)).fetchone()[0]
        if counted + len(stations) <= MOST_STATIONS_A_DAY:
            continue
        of_day = "SELECT source FROM days_of_stations WHERE day = ?"
        named = {source for (source,) in connection.execute(of_day, (day,))}
        for key in [key for key in stations if key[0] == day and key[1] not in named]:
            new = stations.pop(key)
            others = stations.setdefault((day, ""), _StationDay())
            others.frames += new.frames
            others.direct += new.direct
            others.last_ms = max(others.last_ms, new.last_ms)
    return stations
