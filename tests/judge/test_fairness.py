"""Fair shares of a rate: the babbler pays for itself."""

import heapq
import random
from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.judge import fairness
from gateway.judge.fairness import FairShares, water_level
from tests.judge.listening import Listening
from tests.judge.plain_shares import PlainShares

TEN_MINUTES = 600.0


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=50), st.floats(0.1, 1e6))
def test_the_water_level_shares_out_the_room_max_min(offered: list[float], room: float) -> None:
    # Bertsekas and Gallager, Data Networks, section 6.5.2: what is offered, cut to the level, fills the room.
    level = water_level(offered, room)
    if level is None:
        assert sum(offered) <= room * (1 + 1e-9)
    else:
        assert sum(min(amount, level) for amount in offered) == pytest.approx(room)


@pytest.mark.parametrize(
    ("offered", "room", "level"),
    [
        ([2, 2.6, 4, 5], 10, 2.7),  # the worked example found in many textbooks, from memory
        ([1, 1, 1], 3, None),
        ([10, 10], 10, 5),
        ([100], 10, 10),
    ],
)
def test_the_water_level_of_worked_examples(offered: list[float], room: float, level: float | None) -> None:
    assert water_level(offered, room) == (None if level is None else pytest.approx(level))


arrivals = st.lists(
    st.tuples(
        st.sampled_from("aaaaaabbcdefgh"), st.sampled_from([1, 700, 999, 1000, 4000, 30_000, 59_999, 60_000, 120_000])
    ),
    min_size=10,
    max_size=60,
)


@given(arrivals, st.integers(1, 12), st.sampled_from([1000, 20_000, 60_000, 3_600_000]))
def test_shares_are_those_of_a_plain_reckoning_in_fractions(
    arrived: list[tuple[str, int]], amount: int, period_ms: int
) -> None:
    shares, plain = FairShares(amount, period_ms), PlainShares(amount, period_ms)
    now_ms = 5_000_000
    for source, passed_ms in arrived:
        now_ms += passed_ms
        is_within = shares.offer(source, now_ms)
        if plain.offer(source, now_ms) != is_within:  # only by the last digit of a floating-point number
            assert plain.ahead(source, now_ms) == pytest.approx(1, abs=1e-6)
        assert shares.state().level == (None if plain.level is None else pytest.approx(float(plain.level), abs=1e-6))
        if is_within:
            shares.took(source, now_ms)
            plain.took(source, now_ms)


def test_sources_for_which_there_is_no_room_share_one_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(fairness, "MAXIMUM_SOURCES", 2)
    shares = FairShares(60, 60_000)
    for source in ("QA1BCD", "QB2CDE", "QC3DEF", "QD4EFG", "QB2CDE"):
        shares.offer(source, 0)
    assert shares.state().recent == {"QA1BCD": 1, "QB2CDE": 2, fairness.OVERFLOW_SOURCE: 2}


def play(policy: str, per_minute: dict[str, float], draw: int, jitter: float) -> tuple[Counter[str], Counter[str]]:
    """How many frames each sender offered in ten minutes, at so many a minute, and how many of them went up."""
    post = Listening(policy)
    rng = random.Random(draw)
    due = [(rng.uniform(0, 60 / rate), sender) for sender, rate in per_minute.items()]
    heapq.heapify(due)
    went: Counter[str] = Counter()
    offered: Counter[str] = Counter()
    number = 0
    while due[0][0] < TEN_MINUTES:
        at, sender = heapq.heappop(due)
        number += 1
        offered[sender] += 1
        went[sender] += post.hear(b"%b>APRS:>%d" % (sender.encode(), number), at).forward
        gap = 60 / per_minute[sender]
        heapq.heappush(due, (at + gap * rng.uniform(1 - jitter, 1 + jitter), sender))
    return offered, went


@pytest.mark.parametrize(("per", "jitter", "draw"), [("everything", 0.0, 1), ("receiver", 1.0, 2)])
@pytest.mark.parametrize("senders", [1, 3, 10, 30])
@pytest.mark.parametrize("offers", [0.5, 1.0, 2.0])
def test_beside_a_babbler_no_equal_sender_gets_less_than_four_fifths_of_its_share(
    senders: int, offers: float, jitter: float, draw: int, per: str
) -> None:
    """`offers`: how much of the equal share, rate / (senders + 1), each equal sender offers."""
    rate = 60
    share = rate / (senders + 1)
    per_minute = {f"QA{number}EQ": share * offers for number in range(senders)} | {"QZ9BAB": 300.0}
    offered, went = play(f"rates: [{{name: all, per: {per}, allow: {rate} per minute}}]", per_minute, draw, jitter)
    for sender in per_minute.keys() - {"QZ9BAB"}:
        assert went[sender] >= 0.8 * min(offered[sender], share * TEN_MINUTES / 60)
    assert went.total() <= rate * TEN_MINUTES / 60 + rate


def test_two_babblers_of_unlike_zeal_get_alike() -> None:
    _, went = play(
        "rates: [{name: all, per: everything, allow: 60 per minute}]", {"QZ9A": 100.0, "QZ9B": 1000.0}, 1, 0.5
    )
    assert went["QZ9A"] == pytest.approx(went["QZ9B"], rel=0.15)


def test_what_others_leave_a_lone_babbler_may_use() -> None:
    _, went = play("rates: [{name: all, per: everything, allow: 60 per minute}]", {"QA1A": 1.0, "QZ9B": 1000.0}, 1, 0.5)
    assert went.total() >= 0.9 * 600
    assert went["QA1A"] >= 9


def test_a_source_alone_may_use_all_of_the_burst() -> None:
    post = Listening("rates: [{name: all, per: everything, allow: 10 per minute, burst: 10}]")
    assert sum(post.hear(b"QA1A>APRS:>%d" % number, 0).forward for number in range(20)) == 10
