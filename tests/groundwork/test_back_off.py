import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.groundwork.back_off import BackOff, Pauses


def a_back_off(*, spread: float = 0.0, turns: int = 1, chance: float = 0.0) -> BackOff:
    return BackOff(Pauses(first=1.0, longest=60.0, spread=spread, steady=30.0), turns=turns, random=lambda: chance)


def test_pauses_double_up_to_the_longest() -> None:
    back_off = a_back_off()
    assert [back_off.failed() for _ in range(9)] == [1, 2, 4, 8, 16, 32, 60, 60, 60]


def test_pauses_double_only_once_each_of_several_servers_has_failed() -> None:
    back_off = a_back_off(turns=3)
    assert [back_off.failed() for _ in range(7)] == [1, 1, 1, 2, 2, 2, 4]


@pytest.mark.parametrize(("stood", "pauses"), [(29.9, [4, 8]), (30.0, [1, 2])])
def test_after_a_connection_that_stood_well_the_pause_is_the_first_again(stood: float, pauses: list[float]) -> None:
    back_off = a_back_off()
    for _ in range(2):
        back_off.failed()
    assert [back_off.failed(stood), back_off.failed()] == pauses


def test_after_a_connection_that_did_its_work_the_pauses_start_again_from_a_low_one() -> None:
    back_off = a_back_off()
    for _ in range(6):
        back_off.failed()
    assert [back_off.failed(5.0, worked=True), back_off.failed(), back_off.failed(5.0, worked=True)] == [4, 8, 4]


@pytest.mark.parametrize(("spread", "chance", "pause"), [(0.5, 0, 1), (0.5, 1, 0.5), (1, 0.75, 0.25), (0, 1, 1)])
def test_chance_takes_away_no_more_of_a_pause_than_its_spread(spread: float, chance: float, pause: float) -> None:
    assert a_back_off(spread=spread, chance=chance).failed() == pause


@given(st.integers(1, 5), st.integers(0, 5_000), st.floats(0, 1), st.floats(0, 1))
def test_no_pause_is_longer_than_the_longest_however_long_the_other_end_is_away(
    turns: int, failures: int, spread: float, chance: float
) -> None:
    back_off = a_back_off(spread=spread, turns=turns, chance=chance)
    assert all(1 - spread <= back_off.failed() <= 60 for _ in range(failures))
