from datetime import UTC, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.period import Period, read_period
from tests.judged_frames import NOON_MS

MIDNIGHT_MS = NOON_MS - 12 * HOUR_MS


@pytest.mark.parametrize(
    ("text", "period"),
    [
        ("30d", Period(NOON_MS - 30 * DAY_MS, NOON_MS)),
        ("12h", Period(NOON_MS - 12 * HOUR_MS, NOON_MS)),
        ("today", Period(MIDNIGHT_MS, NOON_MS)),
        ("2026-06-05", Period(MIDNIGHT_MS - DAY_MS, NOON_MS)),
        ("2026-06-06T11:00:00Z", Period(NOON_MS - HOUR_MS, NOON_MS)),
        ("2026-06-06T12:00:00+01:00", Period(NOON_MS - HOUR_MS, NOON_MS)),
        ("2026-06-04/2026-06-06", Period(MIDNIGHT_MS - 2 * DAY_MS, MIDNIGHT_MS)),
    ],
)
def test_a_period_is_read_as_people_write_it(text: str, period: Period) -> None:
    assert read_period(text, NOON_MS) == period


@pytest.mark.parametrize("text", ["", "soon", "0d", "4000d", "2026-06-07", "/", "2026-06-06/2026-06-05", "9" * 100])
def test_what_is_no_period_is_refused_in_words(text: str) -> None:
    with pytest.raises(ValueError, match=r"write it as|before it begins|no more than"):
        read_period(text, NOON_MS)


@pytest.mark.parametrize("text", ["4000d", "99999d", "999999999d", "1900-01-01"])
def test_what_is_too_long_is_told_as_that_however_far_back_it_begins(text: str) -> None:
    with pytest.raises(ValueError, match="no more than 3660 days"):
        read_period(text, NOON_MS)


@given(st.text(max_size=70))
def test_whatever_is_written_is_a_period_or_refused(text: str) -> None:
    try:
        period = read_period(text, NOON_MS)
    except ValueError:
        return
    assert 0 <= period.from_ms < period.to_ms


def test_the_whole_days_of_a_period_are_those_of_utc() -> None:
    period = read_period("2026-06-03T12:00:00Z/2026-06-06T12:00:00Z", NOON_MS)
    assert [datetime.fromtimestamp(day * DAY_MS / 1000, UTC).day for day in period.whole_days] == [4, 5]
    assert [datetime.fromtimestamp(day * DAY_MS / 1000, UTC).day for day in period.days] == [3, 4, 5, 6]
