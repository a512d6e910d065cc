"""A server that floods takes a tenth of a core at most, and is left if it goes on. The figures are ours."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from gateway.uplink.reading_budget import BURST_SECONDS, PATIENCE_SECONDS, SHARE, ReadingBudget


def test_the_usual_traffic_never_rests() -> None:
    budget = ReadingBudget(0.0)
    assert not any(budget.spend(0.000_1, second / 10) for second in range(1000))
    assert not budget.is_flooded(100.0)


def test_what_is_used_beyond_the_burst_is_rested_for_until_it_is_the_share() -> None:
    budget = ReadingBudget(0.0)
    assert budget.spend(BURST_SECONDS, 0.0) == 0.0
    assert budget.spend(0.001, 0.0) == pytest.approx(0.001 / SHARE)


def test_a_flood_without_a_pause_is_told_and_a_pause_ends_it() -> None:
    budget = ReadingBudget(0.0)
    now = 0.0
    while now < PATIENCE_SECONDS + 1:
        now += budget.spend(0.02, now)
    assert budget.is_flooded(now)
    budget.spend(0.0, now + 1.0)
    assert not budget.is_flooded(now + 1.0)


@given(some.lists(some.floats(0, 0.1), min_size=1, max_size=200))
def test_whoever_rests_as_told_uses_no_more_than_its_share(costs: list[float]) -> None:
    budget, now = ReadingBudget(0.0), 0.0
    for cost in costs:
        now += budget.spend(cost, now)
    assert sum(costs) <= BURST_SECONDS + SHARE * now + 1e-6
