"""The rank-sum test, held to SciPy's `mannwhitneyu` (method "asymptotic", with the correction for continuity)."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from gateway.history.rank_sum import rank_sum
from gateway.history.two_periods import DayReach, compare

values = st.lists(st.integers(0, 40).map(float), min_size=1, max_size=40)


@given(values, values)
def test_it_comes_to_what_a_statistics_library_does(ours: list[float], theirs: list[float]) -> None:
    found = rank_sum(ours, theirs)
    expected = stats.mannwhitneyu(ours, theirs, alternative="two-sided", method="asymptotic", use_continuity=True)
    assert found.u == expected.statistic
    if len({*ours, *theirs}) > 1:
        assert found.p == pytest.approx(expected.pvalue, rel=1e-9, abs=1e-12)
    else:
        assert found.p == 1.0


def days(*farthest_km: float) -> list[DayReach]:
    return [DayReach(number, 10, round(km * 1000), round(km * 1000)) for number, km in enumerate(farthest_km)]


BEFORE = days(30, 31, 29, 33, 30, 32, 28, 31, 30, 29)
AFTER = days(41, 44, 39, 42, 40, 43, 45, 41, 38, 42)


def test_a_difference_that_chance_does_not_explain_is_told_in_words() -> None:
    stations, distance = compare(AFTER, BEFORE)["results"]
    expected = stats.mannwhitneyu([day.p95_m for day in AFTER], [day.p95_m for day in BEFORE], method="asymptotic")
    assert distance["p"] == pytest.approx(expected.pvalue)
    assert distance["differs"] is True
    assert "more than before, and not by chance" in distance["words"]
    assert "41 km" in distance["words"]
    assert (stations["p"], stations["differs"]) == (1.0, False)
    assert "no difference that chance would not explain" in stations["words"]


def test_the_other_way_round_it_is_less() -> None:
    assert "less than before, and not by chance" in compare(BEFORE, AFTER)["results"][1]["words"]


def test_of_too_few_days_nothing_is_claimed() -> None:
    result = compare(AFTER[:3], BEFORE)["results"][1]
    assert (result["p"], result["differs"]) == (None, None)
    assert "it takes 8 days" in result["words"]


def test_one_day_is_told_by_its_rank() -> None:
    words = compare(days(32.5), BEFORE)["results"][1]["words"]
    assert "more than on 9 of the 10 days compared with; one day proves nothing" in words


def test_without_days_there_is_nothing_to_compare_with() -> None:
    assert "nothing to compare with" in compare([], BEFORE)["results"][0]["words"]
