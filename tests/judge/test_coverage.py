"""What covers what is told surely, found without asking everything, and given up aloud where it takes too long."""

from fnmatch import fnmatchcase
from typing import Any, NamedTuple

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.judge.coverage import Coverage, TooMuchToCompareError, covers_pattern, folded
from gateway.judge.first_cover import FirstCover
from gateway.judge.policy import Conditions
from gateway.judge.review import review
from tests.judge.listening import POST, source_of
from tests.judge.strategies import conditions

GROUPS = {"club": ["QA1*", "QB2CDE"]}

_callsigns = st.text("QA1-9", min_size=1, max_size=5)
_shell = st.text("QA1-9*?", min_size=1, max_size=5) | st.sampled_from(["*", "Q[AZ]*", "Q[AZ]1", "[A-Z]*"])


class Entry(NamedTuple):
    when: Conditions | None


@given(_shell, _shell, _callsigns)
def test_what_a_covered_pattern_matches_the_covering_one_matches(wide: str, narrow: str, callsign: str) -> None:
    # fnmatch, of Python's library, is the judge of what a pattern matches.
    if covers_pattern(wide, narrow) and fnmatchcase(callsign, narrow):
        assert fnmatchcase(callsign, wide)


_entries = st.lists(
    st.none() | conditions.map(Conditions.model_validate).filter(lambda when: bool(when.model_fields_set)), max_size=8
).map(lambda whens: [Entry(when) for when in whens])


@given(_entries, conditions.map(Conditions.model_validate) | st.none(), st.integers(0, 8))
def test_the_first_cover_is_the_one_that_asking_all_finds(
    entries: list[Entry], when: Conditions | None, before: int
) -> None:
    coverage = Coverage(GROUPS)
    found = FirstCover(entries, coverage, GROUPS).find(when, before)
    assert found == next(
        (place for place, entry in enumerate(entries[:before]) if coverage.covers(entry.when, when)), None
    )


def test_the_same_pattern_and_the_same_group_cover_themselves_though_they_are_wild() -> None:
    for pattern in ("Q*1", "Q[AB]1", "@club", "q*1-0"):
        when = Conditions.model_validate({"source": pattern})
        assert FirstCover([Entry(when)], Coverage(GROUPS), GROUPS).find(when, 1) == 0
    assert folded("q*1-0") == "Q*1"


def comparisons(conditions_of: list[dict[str, Any]]) -> int:
    """How many steps it takes to look for the first cover of each."""
    entries = [Entry(Conditions.model_validate(when)) for when in conditions_of]
    coverage = Coverage({}, 10**9)
    first_cover = FirstCover(entries, coverage, {})
    for place, entry in enumerate(entries):
        first_cover.find(entry.when, place)
    return 10**9 - coverage.steps_left


@pytest.mark.parametrize("form", ["QA{}", "Q*{}", "QA{:05}*"])
def test_ten_times_the_rules_for_different_stations_take_ten_times_the_comparisons(form: str) -> None:
    few, many = (comparisons([{"source": form.format(number)} for number in range(count)]) for count in (100, 1000))
    assert many <= 11 * few + 1000


def test_a_group_is_not_compared_with_itself_call_by_call() -> None:
    groups = {"club": [f"QA{number}" for number in range(10_000)]}
    when = Conditions.model_validate({"source": "@club"})
    coverage = Coverage(groups, 100)
    assert coverage.covers(when, when)


ALIKE = "rules:\n" + "".join(
    f"  - {{name: r{number}, when: {{source: QA1BCD, contains: text{number:03}}}, then: keep}}\n"
    for number in range(40)
)


def test_where_too_much_is_to_be_compared_the_review_says_that_it_gave_up() -> None:
    warnings = review(source_of(ALIKE), POST, most_steps=1000)
    assert warnings[0].key == "rules[0]"
    said = [warning.what for warning in warnings]
    gave_up = "too many patterns to compare: not all of the rules were looked at for some that can have no effect"
    assert said[0] == gave_up
    assert len(said) == 41  # what costs nothing is told all the same: no example shows any of them
    assert gave_up not in [warning.what for warning in review(source_of(ALIKE), POST)]


def test_where_too_much_is_to_be_compared_the_rates_are_given_up_too() -> None:
    rates = ALIKE.replace("rules:", "rates:").replace("then: keep", "allow: 1 per day")
    said = [warning.what for warning in review(source_of(rates), POST, most_steps=500)]
    assert said == [
        "too many patterns to compare: not all of the rates were looked at for some that can have no effect"
    ]


def test_a_not_with_many_patterns_is_bounded_as_well() -> None:
    wild, plain = ([form.format(number) for number in range(400)] for form in ("Q?{}", "Q1{}"))
    when = Conditions.model_validate({"source": plain, "not": {"source": wild}})
    assert Coverage({}).contradicts_itself(when)
    with pytest.raises(TooMuchToCompareError):
        Coverage({}, 10_000).contradicts_itself(when)


@pytest.mark.parametrize("key", ["contains", "source"])
def test_lists_that_are_compared_with_lists_are_bounded_as_well(key: str) -> None:
    narrow, wide = ([f"Q{letter}{number}" for number in range(1000)] for letter in "AB")
    with pytest.raises(TooMuchToCompareError):
        Coverage({}, 1900).covers(*(Conditions.model_validate({key: several}) for several in (wide, narrow)))


@pytest.mark.parametrize(("wide", "narrow"), [("Q?1*", "QA1BCD"), ("@club", "QA1BCD"), ("@club", "qb2cde-0")])
def test_a_pattern_finds_what_covers_it_by_groups_and_by_wild_patterns(wide: str, narrow: str) -> None:
    entries = [Entry(Conditions.model_validate({"source": pattern})) for pattern in ("QX1", wide)]
    assert FirstCover(entries, Coverage(GROUPS), GROUPS).find(Conditions.model_validate({"source": narrow}), 2) == 1
