"""Counts whose memory is bounded whatever comes."""

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from gateway.replay.bounded import BoundedCounter


@given(st.lists(st.tuples(st.sampled_from("abcdefghij"), st.integers(0, 9))), st.integers(1, 12))
def test_no_sum_loses_anything(amounts: list[tuple[str, int]], maximum: int) -> None:
    counted: BoundedCounter[str] = BoundedCounter(maximum)
    truth: Counter[str] = Counter()
    for key, amount in amounts:
        counted.add(key, amount)
        truth[key] += amount
    assert counted.total() == truth.total()
    assert len(counted) <= maximum
    for key in counted:
        assert counted[key] == truth[key]
    if len(truth) <= maximum:
        assert dict(counted.greatest()) == truth


def test_the_greatest_come_first_and_equal_ones_by_name() -> None:
    counted: BoundedCounter[str] = BoundedCounter()
    for key in "bbaaccc":
        counted.add(key)
    assert counted.greatest(2) == [("c", 3), ("a", 2)]
    assert counted["z"] == 0
