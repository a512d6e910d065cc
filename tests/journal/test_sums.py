"""The sums that stay when frames go."""

from collections import Counter
from pathlib import Path

import pytest

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.antenna import MeasuredBy
from gateway.history.period import Period
from gateway.journal import schema, sums
from gateway.journal.asking import HistoryStep, Inquiry
from gateway.journal.trouble import JournalError
from gateway.judge.verdict import Judged, Reason
from tests.journal.keeping import batch_of, keep, rows_in, store_at
from tests.journal.test_schema import opened
from tests.judged_frames import NOON_MS, Post

DIRECT = b"QA%dBC>APRS:!58%02d.00N/00355.00W>"
RELAYED = b"QB%dBC>APRS,QD1AA*:!5840.00N/00355.00W>"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def days_of_frames(days: int, a_day: int = 6) -> list[Judged]:
    """Boats that are heard direct and by a repeater, some of them twice."""
    post, heard = Post(), []
    for number in range(days * a_day):
        line = RELAYED % (number % 3) if number % 3 == 0 else DIRECT % (number % 4, number % 60)
        heard.append(post.hear(line, reason=Reason.DUPLICATE if number % 5 == 0 else None))
        post.wait(DAY_MS // a_day)
    return heard


def totals(path: Path) -> dict[str, int]:
    return dict(rows_in(path, "SELECT what, sum(frames) FROM hours GROUP BY what"))


def test_hours_add_up_to_what_was_written_by_reason(path: Path) -> None:
    heard = days_of_frames(3)
    store = store_at(path)
    store.write(batch_of(heard, sent={2: NOON_MS + 5, 3: NOON_MS + HOUR_MS}))
    store.write(batch_of(sent={4: NOON_MS + DAY_MS}))
    store.close()
    counted = Counter(judged.verdict.reason or "forward" for judged in heard)
    assert totals(path) == {**counted, "sent": 3}


def test_a_frame_that_is_written_twice_is_counted_once(path: Path) -> None:
    heard = days_of_frames(1)
    for _ in range(2):
        store = store_at(path)
        store.write(batch_of(heard, sent={2: NOON_MS}))
        store.write(batch_of(heard, sent={2: NOON_MS}))
        store.close()
    assert sum(totals(path).values()) - totals(path)["sent"] == len(heard)
    assert totals(path)["sent"] == 1
    assert sum(frames for (frames,) in rows_in(path, "SELECT frames FROM days_of_stations")) == len(heard)


def test_what_is_damaged_is_counted_by_the_hour_and_is_no_station(path: Path) -> None:
    keep(path, [HeardPayload(Post().hear(b"this is no frame"))])
    assert totals(path) == {"damaged": 1}
    assert rows_in(path, "SELECT * FROM days_of_stations") == []


def test_when_frames_go_the_sums_stay_and_the_reach_says_that_it_is_of_classes(path: Path) -> None:
    heard = days_of_frames(4)
    keep(path, [HeardPayload(judged) for judged in heard])
    period = Period(NOON_MS, NOON_MS + 4 * DAY_MS)
    with Inquiry(path) as inquiry:
        before, history = inquiry.reach(period), inquiry.history(period, HistoryStep.DAY)
    store = store_at(path, keep_ms=2 * DAY_MS)
    store.write(batch_of())
    now_ms = NOON_MS + 4 * DAY_MS
    for hour in range(10):
        store.tidy(Moment(hour * HOUR_MS, now_ms + hour * HOUR_MS))
    store.close()
    assert 0 < len(rows_in(path, "SELECT id FROM heard")) < len(heard)
    with Inquiry(path) as inquiry:
        after = inquiry.reach(period)
        assert inquiry.history(period, HistoryStep.DAY)["entries"][:4] == history["entries"][:4]
        assert inquiry.reach(Period(now_ms - DAY_MS // 2, now_ms))["measured_by"] == MeasuredBy.FRAMES
    assert (before["measured_by"], after["measured_by"]) == (MeasuredBy.FRAMES, MeasuredBy.CLASSES)
    for name in ("frames", "stations", "farthest_km", "farthest_station", "farthest_time"):
        assert after["whole"][name] == before["whole"][name]
    assert after["whole"]["median_km"] == pytest.approx(before["whole"]["median_km"], abs=0.5)


def test_an_hour_in_which_nothing_was_heard_is_told_from_one_in_which_nothing_ran(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of())
    store.tidy(Moment(0, NOON_MS))
    store.tidy(Moment(60_000, NOON_MS + 60_000))
    store.close()
    with Inquiry(path) as inquiry:
        entries = inquiry.history(Period(NOON_MS - DAY_MS, NOON_MS + DAY_MS), HistoryStep.HOUR)["entries"]
    assert [(entry["from"], entry["heard"]) for entry in entries] == [("2026-06-06T12:00:00.000Z", 0)]


def test_what_a_clock_that_cannot_be_right_has_stamped_is_in_no_sum(path: Path) -> None:
    post = Post()
    post.moment = Moment(0, DAY_MS)
    keep(path, [HeardPayload(post.hear(DIRECT % (1, 40)))])
    assert totals(path) == {}


def test_made_up_callsigns_fill_no_disk(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sums, "MOST_STATIONS_A_DAY", 5)
    post = Post()
    store = store_at(path)
    for _ in range(2):
        store.write(batch_of([post.hear(b"QZ%dABC>APRS:>x" % number) for number in range(5)]))
    store.write(batch_of([post.hear(b"QY%dABC>APRS:>x" % number) for number in range(7)]))
    store.close()
    stations = dict(rows_in(path, "SELECT source, frames FROM days_of_stations"))
    assert (len(stations), stations[""], stations["QZ0ABC"]) == (6, 7, 2)


def test_what_was_kept_before_there_were_sums_is_in_them(path: Path) -> None:
    with opened(path) as connection:
        schema.migrate(connection, path, schema.migrations()[:2])
        connection.execute("INSERT INTO runs (identity, started_ms, callsign, policy) VALUES ('a', 0, 'QX1GAT', 'p')")
        values = [(number, NOON_MS + number, "duplicate" if number % 2 else None) for number in range(1, 8)]
        insert = "INSERT INTO heard (id, time_ms, source, reason, object) VALUES (?, ?, 'QA1BC', ?, '{}')"
        connection.executemany(insert, values)
    store_at(path).look()
    keep(path, [])
    assert totals(path) == {"duplicate": 4, "forward": 3, "ran": 1}
    assert rows_in(path, "SELECT source, frames FROM days_of_stations") == [("QA1BC", 7)]


def test_a_journal_without_sums_is_not_asked(path: Path) -> None:
    with opened(path) as connection:
        schema.migrate(connection, path, schema.migrations()[:2])
    with pytest.raises(JournalError, match="older Stile"), Inquiry(path):
        pass


def test_two_periods_are_compared_by_their_whole_days(path: Path) -> None:
    keep(path, [HeardPayload(judged) for judged in days_of_frames(24)])
    middle_ms = NOON_MS + 12 * DAY_MS
    with Inquiry(path) as inquiry:
        reach = inquiry.reach_against(Period(middle_ms, middle_ms + 12 * DAY_MS), Period(NOON_MS, middle_ms))
    stations, distance = reach["compare"]["results"]
    assert (stations["days"], stations["days_against"]) == (11, 11)
    assert distance["differs"] is False
    assert reach["compare"]["from"] == "2026-06-06T12:00:00.000Z"


def test_a_quiet_beginning_of_the_period_does_not_make_its_frames_unknown(path: Path) -> None:
    post = Post()
    heard = [post.hear(DIRECT % (1, 40))]
    post.wait(3 * DAY_MS)
    heard.append(post.hear(DIRECT % (1, 50)))
    store = store_at(path, keep_ms=2 * DAY_MS)
    store.write(batch_of(heard))
    for hour in range(10):
        store.tidy(Moment(hour * HOUR_MS, post.moment.time_ms + hour * HOUR_MS))
    store.close()
    with Inquiry(path) as inquiry:
        exact = inquiry.reach(Period(NOON_MS + DAY_MS, NOON_MS + 4 * DAY_MS))
        longer = inquiry.reach(Period(NOON_MS, NOON_MS + 4 * DAY_MS))
    assert (exact["measured_by"], exact["whole"]["frames"]) == (MeasuredBy.FRAMES, 1)
    assert (longer["measured_by"], longer["whole"]["frames"]) == (MeasuredBy.CLASSES, 2)
