"""Rates are token buckets, exact to the millisecond; budgets count octets by the day or month of UTC.

The buckets are judged by a plain one of our own in exact fractions, and by the rule of conformance of the generic cell
rate algorithm (ITU-T I.371 annex A, from memory): a cell at time t conforms where t >= TAT - tau.
"""

import itertools
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from gateway.judge.rates import TokenBuckets
from gateway.judge.verdict import Reason
from tests.judge.listening import Listening
from tests.judge.one_rate import hear, listening
from tests.judge.plain_bucket import Plain

DAY_S = 86_400
MINUTE_MS = 60_000


# Exactness.


def test_a_full_bucket_gives_its_burst_at_once_and_then_a_token_at_a_time() -> None:
    post = listening("allow: 6 per minute, burst: 3")
    assert [hear(post, 0) for _ in range(4)] == [True, True, True, False]
    assert [hear(post, at) for at in (9.999, 10, 10.001, 19.999, 20)] == [False, True, False, False, True]


def test_the_burst_is_the_amount_where_none_is_given() -> None:
    post = listening("allow: 2 per hour")
    assert [hear(post, 0) for _ in range(3)] == [True, True, False]
    assert [hear(post, at) for at in (1799.999, 1800)] == [False, True]


def test_a_token_that_takes_no_whole_number_of_milliseconds_comes_neither_early_nor_late() -> None:
    # 7 per second: a token each 142.857142... ms, so seven of them in exactly a second.
    bucket = TokenBuckets(7, 1000, 1)
    admitted = []
    for elapsed_ms in range(3001):
        if bucket.admits("", elapsed_ms):
            bucket.take("", elapsed_ms)
            admitted.append(elapsed_ms)
    assert admitted[:9] == [0, 143, 286, 429, 572, 715, 858, 1001, 1144]
    paced = TokenBuckets(7, 1000, 7)
    count = 0
    for elapsed_ms in range(60_000):
        if paced.admits("", elapsed_ms):
            paced.take("", elapsed_ms)
            count += 1
    assert count == 7 + 419


def test_a_bucket_never_holds_more_than_its_burst_however_long_it_is_left() -> None:
    post = listening("allow: 6 per minute, burst: 3")
    assert [hear(post, 365 * DAY_S) for _ in range(4)] == [True, True, True, False]


def test_a_frame_that_is_refused_costs_nothing() -> None:
    post = listening("allow: 1 per minute")
    assert hear(post, 0)
    assert not any(hear(post, at) for at in range(1, 60))
    assert hear(post, 60)


@given(
    st.integers(1, 50),
    st.sampled_from([1000, MINUTE_MS, 60 * MINUTE_MS, 1440 * MINUTE_MS]),
    st.integers(1, 20),
    st.lists(st.integers(0, 100_000), max_size=60),
)
def test_buckets_agree_with_the_plain_telling(amount: int, period_ms: int, burst: int, waits: list[int]) -> None:
    ours, plain = TokenBuckets(amount, period_ms, burst), Plain(amount, period_ms, burst)
    elapsed_ms = 0
    for wait in waits:
        elapsed_ms += wait
        admitted = ours.admits("a", elapsed_ms)
        if admitted:
            ours.take("a", elapsed_ms)
        assert admitted is plain.asks(elapsed_ms)


@given(st.integers(1, 30), st.integers(1, 10), st.lists(st.integers(0, 9000), max_size=60))
def test_buckets_conform_to_the_generic_cell_rate_algorithm(amount: int, burst: int, waits: list[int]) -> None:
    ours = TokenBuckets(amount, MINUTE_MS, burst)
    increment = Fraction(MINUTE_MS, amount)
    tolerance, arrival = increment * (burst - 1), Fraction(0)
    elapsed_ms = 0
    for wait in waits:
        elapsed_ms += wait
        conforms = elapsed_ms >= arrival - tolerance
        assert ours.admits("a", elapsed_ms) is conforms
        if conforms:
            ours.take("a", elapsed_ms)
            arrival = max(arrival, Fraction(elapsed_ms)) + increment


# What each bucket stands for.


def test_per_source_each_innermost_source_has_its_own() -> None:
    post = listening("per: source, allow: 1 per minute")
    assert hear(post, 0, "QA1BCD")
    assert hear(post, 0, "QA1BCD-1")
    assert not hear(post, 0, "QA1BCD", receiver="hf")
    assert hear(post, 0, "QD1AA", information="}QB2CDE>APRS:>")
    assert hear(post, 0, "QD1AA", information="}QC3DEF>APRS:>")
    assert not hear(post, 0, "QB2CDE")


def test_per_receiver_each_receiver_has_its_own() -> None:
    post = listening("per: receiver, allow: 1 per minute")
    assert hear(post, 0, receiver="vhf")
    assert not hear(post, 0, "QB2CDE", receiver="vhf")
    assert hear(post, 0, "QB2CDE", receiver="hf")


def test_per_report_each_kind_has_its_own() -> None:
    post = listening("per: report, allow: 1 per minute")
    assert hear(post, 0, information="!5836.00N/00355.00W>")
    assert not hear(post, 0, "QB2CDE", information="!5836.00N/00355.00W>")
    assert hear(post, 0, information=":QB2CDE   :hello")
    assert hear(post, 0, information=">status")


def test_per_everything_there_is_one() -> None:
    post = listening("per: everything, allow: 1 per minute")
    assert hear(post, 0)
    assert not hear(post, 0, "QB2CDE", receiver="hf")


def test_a_rate_is_about_the_frames_that_its_conditions_hold_of() -> None:
    post = listening("when: {receiver: hf, report: status}, per: source, allow: 1 per minute")
    assert [hear(post, 0, receiver="hf") for _ in range(2)] == [True, False]
    assert all(hear(post, 0, receiver="vhf") for _ in range(3))
    assert all(hear(post, 0, receiver="hf", information=":QB2CDE   :hello") for _ in range(3))


# From every one that matches, or from none.


def test_a_frame_takes_from_every_rate_that_matches_or_from_none() -> None:
    post = Listening(
        """
rates:
  - {name: each, per: source, allow: 2 per minute}
  - {name: all, per: everything, allow: 2 per hour, burst: 3}
"""
    )

    numbers = itertools.count()

    def rule(source: str, at: float) -> str | None:
        return post.hear(f"{source}>APRS:>{next(numbers)}".encode(), at).verdict.rule

    assert [rule("QA1BCD", 0) for _ in range(3)] == [None, None, "each"]
    assert rule("QB2CDE", 0) is None  # `each` refused the third, so `all` kept its last
    assert rule("QC3DEF", 0) == "all"
    assert rule("QB2CDE", 0) == "all"
    # What `all` refused cost QC3DEF nothing of its own two, either.
    assert [rule("QC3DEF", 3600 + at) for at in (0, 1)] == [None, None]


def test_the_first_rate_without_room_is_named() -> None:
    post = Listening("rates: [{name: one, allow: 1 per day}, {name: two, allow: 1 per day}]")
    assert post.hear(b"QA1BCD>APRS:>1").forward
    assert post.hear(b"QA1BCD>APRS:>2").verdict.rule == "one"


def test_a_rule_that_forwards_ends_the_rules_never_the_rates() -> None:
    post = Listening("rules: [{name: ours, then: forward}]\nrates: [{name: slow, allow: 1 per day}]")
    assert post.hear(b"QA1BCD>APRS:>1").verdict.rule == "ours"
    assert post.hear(b"QA1BCD>APRS:>2").verdict.rule == "slow"


def test_what_a_rule_or_the_network_keeps_costs_no_token() -> None:
    post = Listening(
        "rules: [{name: held, when: {contains: bench}, then: keep}]\n"
        "rates: [{name: slow, per: everything, allow: 1 per day}]"
    )
    for line in (b"QA1BCD>APRS:>bench", b"QA1BCD>APRS,TCPIP:>x", b"QA1BCD>APRS:?APRS?", b"QA1BCD>APRS:"):
        assert not post.hear(line).forward
    assert post.hear(b"QA1BCD>APRS:>x").forward


def test_an_emergency_costs_no_token() -> None:
    post = Listening("rates: [{name: slow, per: source, allow: 1 per day}]")
    for number in range(5):
        assert post.hear(b'QA1BCD>332564:`(_fn"Oj/%d' % number).forward  # ours, after APRS101 chapter 10
    assert post.hear(b"QA1BCD>APRS:>x").forward


def test_a_copy_costs_no_token_and_a_refused_frame_leaves_no_copy() -> None:
    post = Listening("rates: [{name: slow, per: everything, allow: 2 per hour}]")
    assert post.hear(b"QA1BCD>APRS:>x", 0).forward
    assert post.hear(b"QA1BCD>APRS:>x", 1).verdict.reason is Reason.DUPLICATE
    assert post.hear(b"QA1BCD>APRS:>y", 1).forward
    assert post.hear(b"QA1BCD>APRS:>z", 2).verdict.reason is Reason.OVER_RATE
    assert post.hear(b"QA1BCD>APRS:>z", 3).verdict.reason is Reason.OVER_RATE


# The reserve.


def test_the_reserve_is_left_to_the_kinds_that_it_is_for() -> None:
    post = listening("per: source, allow: 4 per hour, reserve: {for: message, share: 50%}")
    assert [hear(post, 0) for _ in range(3)] == [True, True, False]
    assert [hear(post, 0, information=":QB2CDE   :hello") for _ in range(3)] == [True, True, False]


def test_the_kinds_of_the_reserve_may_use_all_and_leave_nothing_to_the_rest() -> None:
    post = listening("per: source, allow: 4 per hour, reserve: {for: [message, weather], share: 50%}")
    assert [hear(post, 0, information=":QB2CDE   :hello") for _ in range(4)] == [True] * 4
    assert not hear(post, 0)
    assert [hear(post, at) for at in (2699.999, 2700)] == [False, True]  # two tokens stay, the third is its


@given(st.integers(2, 20), st.integers(1, 99), st.lists(st.tuples(st.integers(0, 9000), st.booleans()), max_size=60))
def test_the_reserve_is_exactly_its_share(burst: int, share: int, arrivals: list[tuple[int, bool]]) -> None:
    ours, plain = TokenBuckets(10, MINUTE_MS, burst), Plain(10, MINUTE_MS, burst)
    leaving = Fraction(int(burst * MINUTE_MS * (share / 100)), MINUTE_MS)
    elapsed_ms = 0
    for wait, reserved in arrivals:
        elapsed_ms += wait
        admitted = ours.admits("a", elapsed_ms, leaving=0.0 if reserved else share / 100)
        if admitted:
            ours.take("a", elapsed_ms)
        assert admitted is plain.asks(elapsed_ms, Fraction(0) if reserved else leaving)
