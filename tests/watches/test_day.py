"""The counts of a day: they begin at midnight of UTC, and at nothing else."""

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.judge.verdict import Reason
from gateway.watches.day import DayCounts
from tests.judged_frames import NOON_MS, Post
from tests.remembering import dumped, restore

NONE = {"heard": 0, "forward": 0, "keep": 0, "keep_by_reason": {}, "emergencies": 0}


def counting(post: Post, day: DayCounts, *reasons: Reason | None) -> None:
    day.hear([HeardPayload(post.hear(b"QA1BCD>APRS:>x", reason=reason)) for reason in reasons])


def test_verdicts_of_a_day_are_counted_by_reason() -> None:
    post, day = Post(), DayCounts()
    counting(post, day, None, None, Reason.DUPLICATE, Reason.RULE, Reason.DUPLICATE)
    day.hear([HeardPayload(post.hear(b"QB2CDE>APRS:!5836.00N/00354.00W>!EMERGENCY!"))])
    assert day.today(post.now()) == {
        "date": "2026-06-06",
        "heard": 6,
        "forward": 3,
        "keep": 3,
        "keep_by_reason": {"duplicate": 2, "rule": 1},
        "emergencies": 1,
    }


def test_midnight_begins_a_new_day_whether_something_is_heard_or_not() -> None:
    post, day = Post(), DayCounts()
    counting(post, day, None)
    post.wait(12 * HOUR_MS)
    assert day.today(post.now()) == {"date": "2026-06-07", **NONE}
    counting(post, day, None, None)
    assert day.today(post.now())["heard"] == 2


def test_a_clock_that_is_set_back_over_midnight_goes_on_with_the_day_that_had_begun() -> None:
    post, day = Post(), DayCounts()
    post.wait(12 * HOUR_MS)
    counting(post, day, None)
    post.moment = Moment(post.moment.elapsed_ms, NOON_MS)
    counting(post, day, None)
    assert day.today(Moment(0, NOON_MS + 12 * HOUR_MS))["heard"] == 2
    post.moment = Moment(post.moment.elapsed_ms, NOON_MS - 2 * DAY_MS)  # it had been far ahead
    counting(post, day, None)
    assert day.today(post.now()) == {**NONE, "date": "2026-06-04", "heard": 1, "forward": 1}


def test_a_restart_goes_on_counting_and_a_day_that_is_over_is_over() -> None:
    post, day = Post(), DayCounts()
    counting(post, day, None, Reason.RULE)
    after = DayCounts()
    restore(after, dumped(day))
    counting(post, after, None)
    assert after.today(post.now())["heard"] == 3
    assert after.today(Moment(0, NOON_MS + DAY_MS)) == {"date": "2026-06-07", **NONE}
