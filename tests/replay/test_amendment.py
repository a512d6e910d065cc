"""A policy with lines added: they parse, take their places, and mean what they say."""

import string
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from gateway.documents import DocumentError, parse
from gateway.judge.judge import Judge
from gateway.replay.amendment import amended, entry_lines, written
from tests.judge.listening import POST, source_of
from tests.replay.recording import heard

RULES_AND_RATES = """
duplicates: {window: 10s}
rules:
  - {name: first, when: {source: QA1BCD}, then: forward}
  - {name: second, when: {source: QB2CDE}, then: keep}
rates:
  - name: one-station
    allow: 6 per minute
    burst: 3
"""


def test_a_new_rule_stands_first_and_a_new_rate_last() -> None:
    source = amended(
        source_of(RULES_AND_RATES),
        "rules: [{name: new, when: {source: QC3DEF}, then: keep}]\nrates: [{name: more, allow: 1 per hour}]",
    )
    assert [rule.name for rule in source.policy.rules] == ["new", "first", "second"]
    assert [rate.name for rate in source.policy.rates] == ["one-station", "more"]
    assert [written(entry)["name"] for entry in source.rules] == ["new", "first", "second"]
    assert [written(entry)["name"] for entry in source.rates] == ["one-station", "more"]


def test_an_entry_takes_the_place_of_the_one_with_its_name() -> None:
    before = source_of(RULES_AND_RATES)
    source = amended(
        before,
        "rules: [{name: second, when: {source: QZ9ZZ}, then: forward}]\nrates: [{name: one-station, allow: 1 per day}]",
    )
    assert [(rule.name, str(rule.then)) for rule in source.policy.rules] == [
        ("first", "forward"),
        ("second", "forward"),
    ]
    assert [(rate.allow.amount, rate.burst) for rate in source.policy.rates] == [(1, None)]
    assert source.digest != before.digest
    assert before.policy.rates[0].burst == 3


def test_the_window_is_replaced_only_where_it_is_said() -> None:
    before = source_of(RULES_AND_RATES)
    assert amended(before, "duplicates: {window: 60s}").policy.duplicates.window == 60_000
    assert amended(before, "rates: [{name: more, allow: 1 per hour}]").policy.duplicates.window == 10_000


def test_the_changed_policy_is_what_judges() -> None:
    changed = amended(source_of(""), "rules: [{name: none, then: keep}]")
    assert Judge(changed.compiled(POST)).judge(heard(b"QA1BCD>APRS:>x")).verdict.rule == "none"


@pytest.mark.parametrize(
    "lines", ["rules: [{name: x}]", "nonsense: 1", "rates: [", "rates: [{name: X, allow: 6 per minute}]"]
)
def test_lines_that_are_no_part_of_a_policy_are_refused(lines: str) -> None:
    with pytest.raises(DocumentError):
        amended(source_of(""), lines)


scalars = (
    st.text(string.printable, max_size=20)
    | st.sampled_from(["1E5", "0x10", "12:30", "no", "true", "null", "~", "- a", "QA1BCD-9", "6 per minute", "25%", ""])
    | st.integers(-1000, 1000)
    | st.booleans()
)
keys = st.text(string.ascii_lowercase, min_size=1, max_size=8).filter(lambda key: key not in {"true", "false", "null"})
values = st.recursive(scalars, lambda below: st.lists(below, max_size=3) | st.dictionaries(keys, below, max_size=3))


@given(st.dictionaries(keys, values, min_size=1, max_size=5))
def test_an_entry_is_written_so_that_it_is_read_back_as_it_was(entry: dict[str, Any]) -> None:
    lines = entry_lines("rates", entry)
    assert parse(lines, "lines").content == {"rates": [entry]}


@given(st.dictionaries(keys, st.sampled_from(["QA1BCD-9", "6 per minute", "a"]) | st.integers(), min_size=1))
def test_any_reader_of_yaml_reads_it_so(entry: dict[str, Any]) -> None:
    """PyYAML's safe loader, which knows nothing of ours, as the judge."""
    entry = {key: value for key, value in entry.items() if key not in {"y", "n", "on", "off", "yes", "no"}}
    if entry:
        assert yaml.safe_load(entry_lines("rates", entry)) == {"rates": [entry]}


def test_an_entry_stands_as_an_operator_would_write_it() -> None:
    entry = {
        "name": "calm-qa1bcd-9",
        "when": {"source": "QA1BCD-9", "not": {"report": ["message", "weather"]}},
        "allow": "12 per hour",
        "burst": 3,
    }
    assert entry_lines("rates", entry) == (
        "rates:\n"
        "  - name: calm-qa1bcd-9\n"
        '    when: {source: "QA1BCD-9", not: {report: [message, weather]}}\n'
        "    allow: 12 per hour\n"
        "    burst: 3\n"
    )
