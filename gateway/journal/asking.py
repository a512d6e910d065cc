"""What people ask of a journal: the reach of the antenna, what was heard when, a station's past. It only reads.

It works while the gateway writes, and without it. It blocks: ask in a thread of its own. Every error is a
`JournalError`.
"""

import contextlib
import time
from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from enum import StrEnum
from pathlib import Path
from typing import Any, Self

from gateway.frames.capture import read_object
from gateway.frames.plain import PlainFormError, PlainObject, rfc3339
from gateway.groundwork.clocks import EARLIEST_MS
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.antenna import HIGH_PERCENT, AntennaReach, ClassFrames, DirectFrames
from gateway.history.distances import IMPLAUSIBLE
from gateway.history.period import Period
from gateway.history.station_past import PastFrame, is_direct_object
from gateway.history.two_periods import DayReach, compare
from gateway.journal import schema
from gateway.journal.reading import ReadingPatience, open_to_read
from gateway.journal.sums import FORWARD, RAN, SENT
from gateway.journal.trouble import JournalError, explained
from gateway.judge.verdict import Reason

MOST_STATIONS = 5000
ROWS_BETWEEN_RESTS = 20
"""Then the interpreter's lock is let go: a frame on its way up waits for no reader."""

_SUMS_VERSION = 3
_FRAMES = (
    "SELECT runs.identity, heard.id & 1099511627775, heard.object FROM heard JOIN runs ON runs.id = heard.id >> 40"
)


class HistoryStep(StrEnum):
    """Of what a history is told."""

    HOUR = "hour"
    DAY = "day"


class Inquiry:
    """One look into a journal: a context manager."""

    def __init__(self, path: Path) -> None:
        """Opens nothing yet."""
        self._path = path
        self._open = contextlib.ExitStack()

    def __enter__(self) -> Self:
        with explained(self._path):
            self._journal = self._open.enter_context(contextlib.closing(open_to_read(self._path)))
            schema.require_readable(self._journal, self._path)
            if schema.version(self._journal) < _SUMS_VERSION:
                self._open.close()
                raise JournalError(f"{self._path} is of an older Stile", "run the gateway with it once")
            self._patience = ReadingPatience(self._journal)
        return self

    def __exit__(self, *_: object) -> None:
        self._open.close()

    def reach(self, period: Period, post: str = "") -> PlainObject:
        """The reach of the antenna in a period, in the plain form.

        `post`: that of one post of a club alone, as far back as frames are kept; `kept_since` says so where that is
        not as far back as the period.
        """
        plain = {**period.to_object(), **self._reach(period, post).to_object()}
        if post:
            plain["post"] = post
            if not self._has_frames_of(period) and (oldest_ms := self._oldest_ms()) is not None:
                plain["kept_since"] = rfc3339(oldest_ms)
        return plain

    def reach_against(self, period: Period, against: Period, post: str = "") -> PlainObject:
        """The same, with `compare`: the reach in another period, and what the days of both say."""
        plain = self.reach(period, post)
        compared = compare(self._days_of(period, post), self._days_of(against, post))
        return {**plain, "compare": {**self.reach(against, post), **compared}}

    def history(self, period: Period, step: HistoryStep) -> PlainObject:
        """What was heard when: an entry for every hour or day in which the gateway ran."""
        length_ms = HOUR_MS if step is HistoryStep.HOUR else DAY_MS
        entries: dict[int, dict[str, int]] = defaultdict(dict)
        hours_a_step = length_ms // HOUR_MS
        select = "SELECT hour / ?, what, sum(frames) FROM hours WHERE hour BETWEEN ? AND ? GROUP BY 1, 2 ORDER BY 1"
        span = (period.from_ms // HOUR_MS, (period.to_ms - 1) // HOUR_MS)
        for number, what, frames in self._rows(select, hours_a_step, *span):
            entries[number][_text(what)] = frames
        more = self._of_days(period) if step is HistoryStep.DAY else {}
        return {
            **period.to_object(),
            "step": step,
            "entries": [
                {"from": rfc3339(number * length_ms), **_counts(entry), **more.get(number, {})}
                for number, entry in sorted(entries.items())
            ],
        }

    def stations(self, period: Period, limit: int = MOST_STATIONS) -> list[PlainObject]:
        """Who was heard in the days of a period, last heard first."""
        select = (
            "SELECT source, sum(frames), sum(direct), max(last_ms), count(*) FROM days_of_stations"
            " WHERE day BETWEEN ? AND ? AND source != '' GROUP BY source ORDER BY max(last_ms) DESC LIMIT ?"
        )
        return [
            {
                "station": _text(source), "frames": frames, "direct": direct, "days": count,
                "last_heard": rfc3339(last_ms),
            }
            for source, frames, direct, last_ms, count in self._rows(select, *_first_and_last(period.days), limit)
        ]  # fmt: skip

    def last_frames(self, period: Period, post: str = "") -> dict[str, tuple[int, bytes]]:
        """By station, how many of its frames were heard, and the last one's heard object; by one `post`, or by all."""
        by_post, values = _by_post(post)
        select = (
            "SELECT source, count(*), object, max(id) FROM heard"  # noqa: S608 - no value is in the text
            f" WHERE time_ms >= ? AND time_ms < ? AND source IS NOT NULL{by_post} GROUP BY source LIMIT ?"
        )
        last_by_name: dict[str, tuple[int, bytes]] = {}
        for part in period.day_by_day:
            for source, frames, text, _ in self._rows(select, part.from_ms, part.to_ms, *values, MOST_STATIONS):
                name = _text(source)
                if isinstance(text, bytes) and (name in last_by_name or len(last_by_name) < MOST_STATIONS):
                    last_by_name[name] = last_by_name.get(name, (0, b""))[0] + frames, text
        return last_by_name

    def days_of_station(self, source: str, period: Period, post: str = "") -> list[PlainObject]:
        """How often a station was heard on each day, the earliest first; by one `post`, or by all."""
        select = (
            "SELECT day, frames, direct FROM days_of_stations WHERE source = ? AND day BETWEEN ? AND ? ORDER BY day"
        )
        counted = (
            self._days_by_post(source, period, post)
            if post
            else self._rows(select, source, *_first_and_last(period.days))
        )
        return [
            {"date": rfc3339(day * DAY_MS)[:10], "frames": frames, "direct": direct} for day, frames, direct in counted
        ]

    def heard(
        self, source: str, limit: int, *, before: int | None = None, since_ms: int = 0, post: str = ""
    ) -> list[PastFrame]:
        """The frames of a station, the newest first; only those with an id below `before`, and of one `post`."""
        by_post, values = _by_post(post)
        select = (
            f"{_FRAMES} WHERE heard.source = ? AND heard.id < ? AND heard.time_ms >= ?{by_post}"
            " ORDER BY heard.id DESC LIMIT ?"
        )
        below = schema.HIGHEST_ROW_ID if before is None else before
        return self._frames(select, source, below, since_ms, *values, limit)

    def up_to(self, run: str, sequence: int, limit: int) -> list[PastFrame]:
        """The frame of that run and sequence and those heard before it in the same run, the newest first.

        Empty where it is not kept.
        """
        number = self.number_of(run, sequence)
        if number is None:
            return []
        first = number >> schema.SEQUENCE_BITS << schema.SEQUENCE_BITS
        return self._frames(
            f"{_FRAMES} WHERE heard.id BETWEEN ? AND ? ORDER BY heard.id DESC LIMIT ?", first, number, limit
        )

    def number_of(self, run: str, sequence: int) -> int | None:
        """The id of that frame; None where it is not kept."""
        select = "SELECT heard.id FROM runs JOIN heard ON heard.id = (runs.id << ?) | ? WHERE runs.identity = ?"
        row = next(self._rows(select, schema.SEQUENCE_BITS, sequence, run), None)
        return None if row is None else row[0]

    def _frames(self, select: str, *values: object) -> list[PastFrame]:
        return [
            PastFrame(_text(run), sequence, text)
            for run, sequence, text in self._rows(select, *values)
            if isinstance(text, bytes)
        ]

    def _reach(self, period: Period, post: str) -> AntennaReach:
        if post or self._has_frames_of(period):
            return AntennaReach(one for part in period.day_by_day for one in self._direct_frames(part, post))
        select = (
            "SELECT sector, farthest_m, source, sum(frames), max(farthest_ms) FROM days_of_reach"
            " WHERE day BETWEEN ? AND ? GROUP BY sector, source, farthest_m"
        )
        classes = "SELECT sector, class, sum(frames) FROM days_of_distance WHERE day BETWEEN ? AND ? GROUP BY 1, 2"
        span = _first_and_last(period.days)
        return AntennaReach(self._direct(select, *span), [ClassFrames(*row) for row in self._rows(classes, *span)])

    def _direct_frames(self, period: Period, post: str) -> Iterator[DirectFrames]:
        by_post, values = _by_post(post)
        select = (
            "SELECT sector, distance_m, source, count(*), max(time_ms) FROM heard"  # noqa: S608 - no value is in the text
            f" WHERE sector IS NOT NULL AND time_ms >= ? AND time_ms < ?{by_post} GROUP BY 1, 2, 3"
        )
        return self._direct(select, period.from_ms, period.to_ms, *values)

    def _direct(self, select: str, *values: object) -> Iterator[DirectFrames]:
        for sector, distance_m, source, frames, last_ms in self._rows(select, *values):
            yield DirectFrames(sector, distance_m, _text(source), frames, last_ms)

    def _has_frames_of(self, period: Period) -> bool:
        """Whether the frames of it are kept: none was heard in it in an hour before that of the oldest."""
        oldest_ms = self._oldest_ms()
        if oldest_ms is None:
            return False
        select = "SELECT min(hour) FROM hours WHERE hour >= ? AND what NOT IN (?, ?)"
        (first_hour,) = next(self._rows(select, period.from_ms // HOUR_MS, RAN, SENT))
        return first_hour is None or first_hour >= oldest_ms // HOUR_MS

    def _oldest_ms(self) -> int | None:
        oldest_ms: int | None = next(self._rows("SELECT min(time_ms) FROM heard WHERE time_ms >= ?", EARLIEST_MS))[0]
        return oldest_ms

    def _days_by_post(self, source: str, period: Period, post: str) -> Iterator[tuple[int, int, int]]:
        """Of each day on which a post heard a station: how many frames, and how many of them direct."""
        by_post, values = _by_post(post)
        select = f"SELECT object FROM heard WHERE source = ? AND time_ms >= ? AND time_ms < ?{by_post}"  # noqa: S608 - no value is in the text
        for part in period.day_by_day:
            frames = direct = 0
            for (text,) in self._rows(select, source, part.from_ms, part.to_ms, *values):
                frames += 1
                with contextlib.suppress(PlainFormError):
                    direct += is_direct_object(read_object(text))
            if frames:
                yield part.from_ms // DAY_MS, frames, direct

    def _days_of(self, period: Period, post: str) -> Sequence[DayReach]:
        """The reach of each whole day on which the gateway ran; of the only day where none is whole."""
        span = _first_and_last(period.whole_days or period.days)
        ran = {
            day for (day,) in self._rows("SELECT DISTINCT hour / 24 FROM hours WHERE hour / 24 BETWEEN ? AND ?", *span)
        }
        reach = self._by_day_and_post(ran, post) if post else self._by_day(*span)
        if post:
            ran &= reach.keys()
        return [_day_reach(day, reach.get(day)) for day in sorted(ran)]

    def _by_day_and_post(self, days: Iterable[int], post: str) -> dict[int, AntennaReach]:
        """Of the days whose frames are kept: of others nothing is known by post."""
        wholes = {day: Period(day * DAY_MS, (day + 1) * DAY_MS) for day in days}
        return {
            day: AntennaReach(self._direct_frames(whole, post))
            for day, whole in wholes.items()
            if self._has_frames_of(whole)
        }

    def _by_day(self, first: int, last: int) -> dict[int, AntennaReach]:
        direct: dict[int, list[DirectFrames]] = defaultdict(list)
        classes: dict[int, list[ClassFrames]] = defaultdict(list)
        select = (
            "SELECT day, sector, farthest_m, source, frames, farthest_ms FROM days_of_reach WHERE day BETWEEN ? AND ?"
        )
        for day, sector, farthest_m, source, frames, farthest_ms in self._rows(select, first, last):
            direct[day].append(DirectFrames(sector, farthest_m, _text(source), frames, farthest_ms))
        select = "SELECT day, sector, class, frames FROM days_of_distance WHERE day BETWEEN ? AND ?"
        for day, *rest in self._rows(select, first, last):
            classes[day].append(ClassFrames(*rest))
        return {day: AntennaReach(direct[day], classes[day]) for day in direct}

    def _of_days(self, period: Period) -> dict[int, PlainObject]:
        """What is told of a day beside its counts."""
        span = _first_and_last(period.days)
        more: dict[int, PlainObject] = {}
        select = (
            "SELECT day, sum(source != ''), sum(source != '' AND direct > 0) FROM days_of_stations"
            " WHERE day BETWEEN ? AND ? GROUP BY day"
        )
        for day, stations, direct in self._rows(select, *span):
            more[day] = {"stations": stations, "direct_stations": direct}
        select = "SELECT day, max(farthest_m) FROM days_of_reach WHERE day BETWEEN ? AND ? AND sector != ? GROUP BY day"
        for day, farthest_m in self._rows(select, *span, IMPLAUSIBLE):
            more.setdefault(day, {})["farthest_km"] = farthest_m / 1000
        return more

    def _rows(self, select: str, *values: object) -> Iterator[tuple[Any, ...]]:
        self._patience.renew()
        with explained(self._path), contextlib.closing(self._journal.execute(select, values)) as cursor:
            while rows := cursor.fetchmany(ROWS_BETWEEN_RESTS):
                yield from rows
                time.sleep(0)


def _first_and_last(days: range) -> tuple[int, int]:
    return days.start, days.stop - 1


def _by_post(post: str) -> tuple[str, tuple[str, ...]]:
    """A condition for the frames of one post of a club, with its value; empty: for all.

    The key stands once in the text of a heard object: within a text its quotation marks are escaped (RFC 8259,
    section 7).
    """
    return (" AND instr(heard.object, ?)", (f'"receiver":"{post}/',)) if post else ("", ())


def _day_reach(day: int, reach: AntennaReach | None) -> DayReach:
    if reach is None:
        return DayReach(day, 0, None, None)
    whole = reach.whole
    farthest = whole.farthest
    return DayReach(day, len(whole.stations), whole.percentile_m(HIGH_PERCENT), farthest and farthest[0])


def _counts(entry: dict[str, int]) -> PlainObject:
    keep_by_reason = {reason.value: entry[reason] for reason in Reason if entry.get(reason)}
    forward = entry.get(FORWARD, 0)
    keep = sum(keep_by_reason.values())
    return {
        "heard": forward + keep,
        "forward": forward,
        "keep": keep,
        "keep_by_reason": keep_by_reason,
        "sent": entry.get(SENT, 0),
    }


def _text(octets: bytes) -> str:
    return octets.decode("utf-8", "replace")
