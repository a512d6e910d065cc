"""Frames by the hour of the last day. What they are counted against is the standard library's `Counter`."""

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.last_day import HOURS, LastDay, last_day_from
from gateway.groundwork.duration import HOUR_MS
from tests.judged_frames import NOON_MS


def frames_of(day: LastDay) -> list[int]:
    frames = day.to_object()["frames"]
    assert isinstance(frames, list)
    return frames


def test_each_hour_has_its_own_count_and_the_newest_stands_last() -> None:
    day = LastDay()
    for time_ms in (NOON_MS, NOON_MS + HOUR_MS - 1, NOON_MS + 2 * HOUR_MS):
        day.count(time_ms)
    assert day.to_object() == {"hour": "2026-06-06T14:00:00.000Z", "frames": [0] * 21 + [2, 0, 1]}


def test_what_is_a_day_old_is_forgotten_and_a_clock_that_is_set_back_does_no_harm() -> None:
    day = LastDay()
    for hours in (0, 24, 23, -1):
        day.count(NOON_MS + hours * HOUR_MS)
    assert frames_of(day) == [0] * 22 + [1, 1]


@given(st.lists(st.integers(0, 100 * HOUR_MS), min_size=1))
def test_it_counts_as_one_would_who_had_kept_everything(after_ms: list[int]) -> None:
    day = LastDay()
    for each in sorted(after_ms):
        day.count(NOON_MS + each)
    hours = Counter((NOON_MS + each) // HOUR_MS for each in after_ms)
    newest = max(hours)
    assert frames_of(day) == [hours[hour] for hour in range(newest - HOURS + 1, newest + 1)]


def test_what_was_dumped_is_as_it_was() -> None:
    day = LastDay()
    day.count(NOON_MS)
    assert last_day_from(day.dumped()).to_object() == day.to_object()


@pytest.mark.parametrize(
    "dumped", [None, [1], [1, [0] * 23], [-1, [0] * 24], [1, [-1] * 24], [10**12, [0] * 24], {"a": 1}]
)
def test_what_is_no_dump_is_a_day_of_which_nothing_is_known(dumped: object) -> None:
    assert frames_of(last_day_from(dumped)) == [0] * 24
