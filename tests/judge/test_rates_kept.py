"""Rates over a restart, a reload and a flood; budgets, which count octets by the day or month of UTC."""

from collections import defaultdict
from datetime import UTC, datetime
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.judge import rates
from gateway.judge.rates import MAXIMUM_BUCKETS, OVERFLOW_KEY, Budget, TokenBuckets
from gateway.judge.verdict import Reason
from tests.judge.listening import NOON_MS, POST, Listening, source_of
from tests.judge.one_rate import hear, listening
from tests.judge.plain_bucket import Plain
from tests.remembering import budgets_of, restore_budgets

DAY_S = 86_400
MINUTE_MS = 60_000


# Budgets.


def line_octets(line: bytes) -> int:
    """Of the line that goes up, written anew from IS-Connect and IS-Details."""
    header, _, information = line.partition(b":")
    return len(header) + len(b",qAO,QX1GAT-10:") + len(information) + len(b"\r\n")


def test_a_budget_counts_the_octets_of_the_lines_to_the_last() -> None:
    post = listening("per: everything, allow: 1 kB per day")
    first = b"QA1BCD>APRS:" + b"x" * 400
    second = b"QB2CDE>APRS,QD1AA*:" + b"y" * 300
    room = 1000 - line_octets(first) - line_octets(second)
    third = b"QC3DEF>APRS:"
    fits = third + b"z" * (room - line_octets(third))
    assert line_octets(fits) == room
    assert post.hear(first).forward
    assert post.hear(second).forward
    assert post.hear(fits + b"z").verdict.reason is Reason.OVER_RATE
    assert post.hear(fits + b"\rz").forward
    assert post.hear(b"Q>A:z").verdict.reason is Reason.OVER_RATE


def at(text: str) -> int:
    """Unix milliseconds of a time in UTC."""
    return int(datetime.fromisoformat(text).replace(tzinfo=UTC).timestamp() * 1000)


@pytest.mark.parametrize(
    ("period", "last", "first"),
    [
        ("day", "2026-06-06T23:59:59.999", "2026-06-07T00:00:00"),
        ("day", "2026-12-31T23:59:59.999", "2027-01-01T00:00:00"),
        ("day", "2028-02-29T23:59:59.999", "2028-03-01T00:00:00"),
        ("month", "2026-06-30T23:59:59.999", "2026-07-01T00:00:00"),
        ("month", "2026-12-31T23:59:59.999", "2027-01-01T00:00:00"),
        ("month", "2028-02-29T23:59:59.999", "2028-03-01T00:00:00"),
    ],
)
def test_a_budget_is_new_with_each_day_or_month_of_utc(period: str, last: str, first: str) -> None:
    budget = Budget(1000, period)
    budget.take("a", at(last), 1000)
    assert not budget.admits("a", at(last), 1)
    assert budget.admits("a", at(first), 1000)
    assert not budget.admits("a", at(first), 1001)


def test_a_month_is_not_over_with_its_days() -> None:
    budget = Budget(1000, "month")
    budget.take("a", at("2026-06-01T00:00:00"), 1000)
    assert not budget.admits("a", at("2026-06-30T12:00:00"), 1)


def test_a_budget_goes_by_the_time_and_not_by_the_clock_of_the_rates() -> None:
    post = listening("per: source, allow: 1 kB per day")
    long = b"QA1BCD>APRS:%d" + b"x" * 440
    assert [post.hear(long % number, 0, time_ms=NOON_MS).forward for number in range(3)] == [True, True, False]
    assert not post.hear(long % 3, 30 * DAY_S, time_ms=NOON_MS).forward
    assert post.hear(long % 4, 0, time_ms=NOON_MS + 12 * 3600 * 1000).forward


def test_a_clock_that_is_set_back_opens_no_second_budget() -> None:
    budget = Budget(1000, "day")
    budget.take("a", at("2026-06-07T00:00:01"), 1000)
    assert not budget.admits("a", at("2026-06-06T23:59:59"), 1)
    assert not budget.admits("a", at("2026-06-07T00:00:02"), 1)


def test_a_clock_that_goes_back_by_two_periods_ends_the_budget_when_the_period_should_end() -> None:
    budget = Budget(1000, "day")
    budget.take("a", at("2026-06-09T12:00:00"), 1000)
    assert not budget.admits("a", at("2026-06-07T12:00:00"), 1)
    assert budget.admits("a", at("2026-06-08T00:00:00"), 1000)


@pytest.mark.parametrize("period", ["day", "month"])
def test_a_clock_that_had_run_far_ahead_does_not_hold_the_budget_for_years(period: str) -> None:
    budget = Budget(1000, period)
    budget.take("a", at("2036-02-07T06:28:16"), 600)
    assert not budget.admits("a", at("2026-06-06T12:00:00"), 401)
    budget.take("a", at("2026-06-06T12:00:00"), 400)
    assert not budget.admits("a", at("2026-06-06T13:00:00"), 1)
    assert budget.admits("a", at("2026-07-07T12:00:00"), 1000)


def test_a_budget_keeps_its_reserve() -> None:
    post = listening("per: everything, allow: 1 kB per day, reserve: {for: message, share: 50%}")
    assert post.hear(b"QA1BCD>APRS:>" + b"x" * 440).forward
    assert not post.hear(b"QB2CDE>APRS:>" + b"x" * 440).forward
    assert post.hear(b"QB2CDE>APRS::QA1BCD   :" + b"x" * 400).forward


def test_a_budget_has_its_keys_apart() -> None:
    post = listening("per: source, allow: 1 kB per day")
    for source in (b"QA1BCD", b"QB2CDE"):
        assert post.hear(source + b">APRS:>1" + b"x" * 450).forward
        assert post.hear(source + b">APRS:>2" + b"x" * 450).forward
        assert not post.hear(source + b">APRS:>3" + b"x" * 450).forward


# Budgets are given out and taken in.

BUDGETS = (
    "rates: [{name: day, per: source, allow: 1 kB per day}, {name: month, per: everything, allow: 2 kB per month}]"
)


def test_budgets_survive_a_restart_as_one_plain_value() -> None:
    post = Listening(BUDGETS)
    assert budgets_of(post.judge) == {}
    line = b"QA1BCD>APRS:>" + b"x" * 450
    post.hear(line)
    octets = line_octets(line)
    given_out = budgets_of(post.judge)
    assert given_out == {
        "day/source": {"period": "2026-06-06", "used": {"QA1BCD": octets}},
        "month/everything": {"period": "2026-06", "used": {"everything": octets}},
    }
    after = Listening(BUDGETS)
    restore_budgets(after.judge, given_out)
    assert budgets_of(after.judge) == given_out
    assert after.hear(b"QA1BCD>APRS:>1" + b"x" * 450).forward
    assert after.hear(b"QA1BCD>APRS:>2" + b"x" * 450).verdict.rule == "day"


def test_a_budget_restored_on_the_next_day_is_new() -> None:
    post = Listening(BUDGETS)
    restore_budgets(post.judge, {"day/source": {"period": "2026-06-05", "used": {"QA1BCD": 1000}}})
    assert post.hear(b"QA1BCD>APRS:>").forward


@pytest.mark.parametrize(
    "state",
    [
        {}, [], None, 7,
        *[
            {"day/source": kept}
            for kept in [
                "", 3, {}, {"period": 3, "used": {}}, {"period": "2026-06-06", "used": []},
                {"period": "2026-06", "used": {"QA1BCD": 1000}}, {"period": "2026-13-01", "used": {"QA1BCD": 1000}},
                {"period": "", "used": {"QA1BCD": 1000}}, {"period": "soon", "used": {"QA1BCD": 1000}},
                {"period": "2026-06-06", "used": {"QA1BCD": "1000", "x": None, "y": True, "z": -1000, "w": 1.5}},
            ]
        ],
        {"other/source": {"period": "2026-06-06", "used": {"QA1BCD": 1000}}},
        {"day/receiver": {"period": "2026-06-06", "used": {"QA1BCD": 1000}}},
    ],
)  # fmt: skip
def test_what_is_no_state_is_left_out(state: object) -> None:
    post = Listening(BUDGETS)
    restore_budgets(post.judge, state)
    assert post.hear(b"QA1BCD>APRS:>" + b"x" * 450).forward
    assert post.hear(b"QA1BCD>APRS:>1" + b"x" * 450).forward
    assert post.hear(b"QA1BCD>APRS:>2" + b"x" * 450).verdict.rule == "day"


def test_what_a_callsign_cannot_be_is_no_key_of_a_budget() -> None:
    budget = Budget(1000, "day")
    budget.restore({"period": "2026-06-06", "used": {7: 1000, None: 1000, "QA1BCD": 1000}})
    assert budget.state() == {"period": "2026-06-06", "used": {"QA1BCD": 1000}}


# Reload.


def reload(post: Listening, policy: str, seconds: float) -> None:
    post.judge.replace(source_of(policy).compiled(POST), round(seconds * 1000))


SLOW = "rates: [{name: slow, per: source, allow: 6 per minute, burst: 4}]"


def tokens(post: Listening, at_s: float, source: str = "QA1BCD") -> int:
    """How many frames go up at once; all of them are taken."""
    count = 0
    while hear(post, at_s, source):
        count += 1
    return count


def test_a_rate_with_the_same_name_and_per_keeps_its_level() -> None:
    post = Listening(SLOW)
    assert [hear(post, 0) for _ in range(3)] == [True] * 3
    reload(post, SLOW, 5)
    assert tokens(post, 9.999) == 1
    assert tokens(post, 10) == 1


def test_the_level_is_capped_at_the_new_burst() -> None:
    for used, burst, left in [(0, 2, 2), (1, 2, 2), (3, 2, 1), (4, 2, 0), (1, 9, 3), (4, 9, 0)]:
        post = Listening(SLOW)
        assert all(hear(post, 0) for _ in range(used))
        reload(post, SLOW.replace("burst: 4", f"burst: {burst}"), 0)
        assert tokens(post, 0) == left, (used, burst)


def test_the_level_is_kept_in_tokens_where_the_allowance_changes() -> None:
    post = Listening(SLOW)
    assert all(hear(post, 0) for _ in range(3))
    reload(post, SLOW.replace("6 per minute", "1 per day"), 5)  # one token and a half are left
    assert tokens(post, 5) == 1
    assert tokens(post, 5 + DAY_S / 2 - 0.001) == 0
    assert tokens(post, 5 + DAY_S / 2) == 1


@pytest.mark.parametrize("changed", [SLOW.replace("slow", "other"), SLOW.replace("source", "receiver")])
def test_a_rate_with_another_name_or_per_starts_full(changed: str) -> None:
    post = Listening(SLOW)
    assert tokens(post, 0) == 4
    reload(post, changed, 0)
    line = b"QA1BCD>APRS:>again"
    assert post.hear(line, 0).forward


def test_a_rate_that_was_removed_is_gone_and_full_when_it_comes_back() -> None:
    post = Listening(SLOW)
    assert tokens(post, 0) == 4
    reload(post, "", 0)
    assert all(hear(post, 0) for _ in range(20))
    reload(post, SLOW, 0)
    assert tokens(post, 0) == 4


def test_budgets_survive_a_reload_whatever_they_allow_now() -> None:
    post = Listening(BUDGETS)
    post.hear(b"QA1BCD>APRS:>" + b"x" * 450)
    before = budgets_of(post.judge)
    reload(post, BUDGETS.replace("1 kB", "5 kB").replace("2 kB", "1 kB"), 1)
    assert budgets_of(post.judge) == before
    reload(post, BUDGETS.replace("1 kB per day", "1 kB per month"), 2)
    assert budgets_of(post.judge) != before


IN_OCTETS = "rates: [{name: slow, per: source, allow: 1 kB per day}]"


@pytest.mark.parametrize(("before", "after"), [(SLOW, IN_OCTETS), (IN_OCTETS, SLOW)])
def test_a_rate_of_frames_and_a_budget_of_octets_have_no_level_in_common(before: str, after: str) -> None:
    post, fresh = Listening(before), Listening(after)
    post.hear(b"QA1BCD>APRS:>" + b"x" * 450)
    state = post.judge.state()
    reload(post, after, 0)
    assert post.judge.state().limits == fresh.judge.state().limits
    fresh.judge.resume(state)
    assert fresh.judge.state().limits == Listening(after).judge.state().limits


buckets = st.tuples(st.integers(1, 20), st.integers(1, 8))


@given(buckets, buckets, st.integers(0, 8), st.integers(0, 60_000))
def test_a_reload_gives_no_tokens_to_a_bucket_in_use(
    former_of: tuple[int, int], new_of: tuple[int, int], used: int, wait_ms: int
) -> None:
    former, new = (TokenBuckets(amount, MINUTE_MS, burst) for amount, burst in (former_of, new_of))
    plain = Plain(former_of[0], MINUTE_MS, former_of[1])
    for _ in range(min(used, former_of[1])):
        assert former.admits("a", 0)
        former.take("a", 0)
        assert plain.asks(0)
    plain.asks(wait_ms, leaving=Fraction(former_of[1]))  # asks for more than there can be: only brings its level up
    new.continue_from(former, wait_ms)
    left = 0
    while new.admits("a", wait_ms):
        new.take("a", wait_ms)
        left += 1
    full = plain.level == former_of[1]
    assert left == (new_of[1] if full else min(new_of[1], int(plain.level)))


# Bounds.


def test_a_rate_holds_no_more_buckets_than_it_may_whatever_is_heard() -> None:
    buckets = TokenBuckets(1, 1440 * MINUTE_MS, 1)
    for number in range(3 * MAXIMUM_BUCKETS):
        key, elapsed_ms = f"Q{number}", number * 7
        if buckets.admits(key, elapsed_ms):
            buckets.take(key, elapsed_ms)
        assert len(buckets) <= MAXIMUM_BUCKETS + 1


def test_a_budget_holds_no_more_keys_than_it_may_whatever_is_heard() -> None:
    budget = Budget(1000, "day")
    for number in range(MAXIMUM_BUCKETS + 500):
        budget.take(f"Q{number}", NOON_MS, 10)
    assert len(budget) <= MAXIMUM_BUCKETS + 1
    again = Budget(1000, "day")
    again.restore({"period": "2026-06-06", "used": {f"Q{number}": 1 for number in range(3 * MAXIMUM_BUCKETS)}})
    assert len(again) <= MAXIMUM_BUCKETS + 1


def test_when_every_bucket_is_in_use_further_sources_share_one() -> None:
    buckets = TokenBuckets(1, MINUTE_MS, 1)
    for number in range(MAXIMUM_BUCKETS):
        buckets.take(f"Q{number}", 0)
    assert buckets.admits("late-1", 1)
    buckets.take("late-1", 1)
    assert not buckets.admits("late-2", 2)
    assert not buckets.admits("Q7", 2)
    assert buckets.admits("Q7", MINUTE_MS)
    assert buckets.admits("late-2", MINUTE_MS + 1)


def test_when_every_key_of_a_budget_is_in_use_further_keys_share_one() -> None:
    budget = Budget(1000, "day")
    for number in range(MAXIMUM_BUCKETS):
        budget.take(f"Q{number}", NOON_MS, 10)
    budget.take("late-1", NOON_MS, 600)
    assert not budget.admits("late-2", NOON_MS, 401)
    assert budget.admits("Q7", NOON_MS, 990)
    given_out = budget.state()
    again = Budget(1000, "day")
    again.restore(given_out)
    assert not again.admits("late-2", NOON_MS, 401)
    assert OVERFLOW_KEY in again.state()["used"]


def test_who_used_the_shared_bucket_gains_nothing_by_getting_one_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rates, "MAXIMUM_BUCKETS", 2)
    buckets = TokenBuckets(1, MINUTE_MS, 2)
    buckets.take("QA1BCD", 0)
    buckets.take("QB2CDE", 0)
    for _ in range(2):
        assert buckets.admits("babbler", 30_000)
        buckets.take("babbler", 30_000)
    assert not buckets.admits("babbler", MINUTE_MS + 1)  # places are free by now
    assert [buckets.admits("babbler", elapsed_ms) for elapsed_ms in (89_999, 90_000)] == [False, True]


def test_places_are_looked_for_once_in_the_time_of_a_token_and_found_where_a_bucket_is_full(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(rates, "MAXIMUM_BUCKETS", 2)
    buckets = TokenBuckets(1, MINUTE_MS, 1)
    start = 10 * MINUTE_MS

    def own(key: str, elapsed_ms: int) -> bool:
        buckets.take(key, elapsed_ms)
        return key in buckets.state().full_at

    assert own("QA1BCD", start)
    assert own("QB2CDE", start + 1)
    assert not own("QC3DEF", start + MINUTE_MS - 1)  # this looked, and both are in use
    assert not own("QC3DEF", start + MINUTE_MS)  # a place is free, but it has just looked
    assert OVERFLOW_KEY in buckets.state().full_at
    assert not own("QC3DEF", start + 2 * MINUTE_MS - 2)
    assert own("QC3DEF", start + 2 * MINUTE_MS - 1)


def test_a_bucket_gives_its_place_in_the_millisecond_in_which_it_is_full(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rates, "MAXIMUM_BUCKETS", 1)
    for later, has_its_own in ((MINUTE_MS - 1, False), (MINUTE_MS, True)):
        buckets = TokenBuckets(1, MINUTE_MS, 1)
        buckets.take("QA1BCD", 10 * MINUTE_MS)
        buckets.take("QB2CDE", 10 * MINUTE_MS + later)
        assert ("QB2CDE" in buckets.state().full_at) == has_its_own


arrivals = st.lists(st.tuples(st.integers(0, 4000), st.integers(0, 7)), max_size=200)


@given(arrivals, st.integers(1, 4), st.integers(1, 4))
def test_no_source_gains_by_flooding_the_memory(arrived: list[tuple[int, int]], amount: int, burst: int) -> None:
    # What each source gets must conform to the rate by itself, whoever else is about.
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(rates, "MAXIMUM_BUCKETS", 3)
        buckets = TokenBuckets(amount, MINUTE_MS, burst)
        alone: dict[int, Plain] = defaultdict(lambda: Plain(amount, MINUTE_MS, burst))
        elapsed_ms = 0
        for wait, source in arrived:
            elapsed_ms += wait
            if buckets.admits(str(source), elapsed_ms):
                buckets.take(str(source), elapsed_ms)
                assert alone[source].asks(elapsed_ms)
            assert len(buckets) <= 4


def test_a_policy_without_budgets_gives_out_none() -> None:
    assert budgets_of(Listening(SLOW).judge) == {}
