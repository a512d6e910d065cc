"""YAML in, plain values out: the types of YAML 1.2, the line of each value, and bounds that hold while it is read.

YAML 1.2.2 is the published specification (yaml.org, 2021); the rows of its example 10.9 are from memory.
"""

import math
import re
import tracemalloc
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.documents import MAXIMUM_KEYS, MAXIMUM_TEXT, MAXIMUM_VALUES, DocumentError, parse, reading
from gateway.documents.problem import MOST_PROBLEMS
from tests.documents.told import FILE, told, told_of


def content(text: str) -> Any:  # noqa: ANN401 - YAML holds anything
    return parse(text, FILE).content


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # YAML 1.2.2 section 10.3.2, example 10.9 (from memory)
        *[(word, True) for word in ("true", "True", "TRUE")],
        *[(word, False) for word in ("false", "False", "FALSE")],
        ("0", 0), ("0o7", 7), ("0x3A", 0x3A), ("-19", -19), ("+12", 12),
        ("0.", 0.0), ("-0.0", -0.0), (".5", 0.5), ("+12e03", 12_000.0), ("-2E+05", -200_000.0),
        (".inf", math.inf), ("-.Inf", -math.inf), ("+.INF", math.inf),
        ("0x13", 19), ("0x03", 3), ("007", 7),
        # What YAML 1.1 takes for something else stays text.
        *[(word, word) for word in ("no", "No", "NO", "yes", "on", "off", "y", "n", "Y", "N")],
        ("12:30", "12:30"), ("190:20:30", "190:20:30"), ("22:00-06:00", "22:00-06:00"),
        ("2026-06-06T12:00:00Z", "2026-06-06T12:00:00Z"), ("2026-06-06", "2026-06-06"),
        ("1_000", "1_000"), ("0b101", "0b101"), ("=", "="), ("<<", "<<"),
        ("QA1BCD-9", "QA1BCD-9"), ("30s", "30s"), ("25%", "25%"), ("~x", "~x"), ("nullable", "nullable"),
        ("'no'", "no"), ('"12"', "12"), ('"null"', "null"), ('""', ""),
        ("[]", []), ("{}", {}),
    ],
)  # fmt: skip
def test_plain_values_are_of_the_types_of_the_core_schema(text: str, value: object) -> None:
    read = content(f"key: {text}")["key"]
    assert (read, type(read)) == (value, type(value))


@pytest.mark.parametrize("text", [".nan", ".NaN", ".NAN"])
def test_not_a_number_is_a_number_of_the_core_schema(text: str) -> None:
    assert math.isnan(content(f"key: {text}")["key"])


def test_more_digits_than_a_number_has_are_text() -> None:
    assert content(f"a: {'9' * 99}")["a"] == int("9" * 99)
    for digits in ("9" * 100, "-" + "9" * 5000, "1." + "0" * 5000, "0x" + "f" * 5000):
        assert content(f"a: {digits}") == {"a": digits}


def test_the_two_parsers_of_yaml_read_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    # A computer without libyaml has the one that is written in Python alone.
    text = "a: [no, 0x13, 12:30, 1.5, true]\nb:\n  c: '~'\n  d: |\n    two\n    lines\n"
    in_c = parse(text, FILE)
    monkeypatch.setattr(reading, "_LOADER", yaml.SafeLoader)
    assert parse(text, FILE) == in_c
    assert told_of("[" * 900) == ["house.yaml:1: values stand more than 32 deep"]
    assert told_of("a: 1\nb: \0") == ["house.yaml:2: the character 0x00 is no text: take it out"]


def test_an_empty_document_is_no_mistake() -> None:
    assert content("") is None
    assert content("# nothing yet\n") is None


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm() -> None:
    assert content("\ufeffa: 1\r\nb: 2\r\n") == {"a": 1, "b": 2}


def test_every_value_has_its_line() -> None:
    document = parse("a: 1\nb:\n  - x\n  - {c: 1,\n     d: [2]}\n", FILE)
    for place, line in (
        (("a",), 1), (("b",), 2), (("b", 0), 3), (("b", 1), 4), (("b", 1, "c"), 4), (("b", 1, "d"), 5),
        (("b", 1, "d", 0), 5), (("b", 7), 2), (("a", "x", 3), 1), (("z",), 1), ((), 1),
    ):  # fmt: skip
        assert document.problem(place, "").line == line, place


def test_a_key_that_stands_twice_is_named_at_its_second_place() -> None:
    assert told_of("a: 1\nb:\n  - c: 1\n    d: 2\n    c: 3\na: 2\n") == [
        "house.yaml:5: b[0].c: this key stands twice: take one out",
        "house.yaml:6: a: this key stands twice: take one out",
    ]
    assert told_of('a: 1\n"a": 2') == ["house.yaml:2: a: this key stands twice: take one out"]


def test_a_key_without_a_value_is_named_lest_it_ask_nothing_in_silence() -> None:
    text = "rules:\n  - name: all\n    when:\n      source:\n    then: keep\n  -\n"
    said = "there is no value: give one here, or further in on the next line, or leave this out"
    assert told_of(text) == [f"house.yaml:4: rules[0].when.source: {said}", f"house.yaml:6: rules[1]: {said}"]


@pytest.mark.parametrize("inside", ["{{callsign}}", "{[a]}", "{? [a], b: 1}", "{*a}", "[{{a: 1}}]"])
def test_a_placeholder_in_two_pairs_of_braces_is_told_and_not_tripped_over(inside: str) -> None:
    """Found by fuzzing: a mapping in the place of a key, with no value behind it."""
    assert told_of(f"station: {inside}\n")[-1].endswith(": a key that is no text: put it in quotation marks")


@pytest.mark.parametrize("key", ["1", "true", "~", "1.5", "[a, b]", "{a: b}", "!!binary YQ=="])
def test_a_key_is_text(key: str) -> None:
    assert told_of(f"a: 1\n? {key}\n: 2") == ["house.yaml:2: a key that is no text: put it in quotation marks"]


@pytest.mark.parametrize(
    "value",
    ["!!set {a, b}", "!!omap [a: b]", "!!timestamp 2026-06-06", "!!python/object:os.system x", "!mine x", "!!int 5"],
)
def test_no_tag_has_a_meaning(value: str) -> None:
    assert told_of(f"a:\n  b: {value}")[0].startswith(
        "house.yaml:2: a.b: ! begins a tag in YAML, and none has a meaning"
    )


@pytest.mark.parametrize("character", ["\0", "\x1b", "\x7f", "\x80", "\ud800", "\ufffe"])
def test_what_no_text_holds_is_told_with_its_line(character: str) -> None:
    # YAML 1.2.2 section 5.1: the printable characters.
    said = f"house.yaml:3: the character {ord(character):#04x} is no text: take it out"
    assert told_of(f"a: 1\nb: 2\nc: {character}") == [said]


@pytest.mark.parametrize("text", ["[" * 900, "[" * 40 + "]" * 40, "{a: " * 40 + "1" + "}" * 40, "- " * 40 + "x"])
def test_nesting_however_deep_is_an_error(text: str) -> None:
    assert told_of(text) == ["house.yaml:1: values stand more than 32 deep"]


def test_what_the_parser_in_c_finds_too_deep_by_itself_is_told_in_our_words() -> None:
    # libyaml 0.2.5 takes a thousand levels (common practice: from its source, by memory).
    said = {"house.yaml:2: too many brackets stand in one another", "house.yaml:2: values stand more than 32 deep"}
    assert told_of("a:\n " + "[" * 100_000)[0] in said


def test_what_stands_at_the_deepest_level_is_read() -> None:
    assert told_of("[" * 33 + "]" * 33) == ["house.yaml:1: values stand more than 32 deep"]
    content("[" * 32 + "]" * 32)


def test_aliases_stand_for_what_they_name() -> None:
    assert content("a: &here [1, {b: 2}]\nc: *here") == {"a": [1, {"b": 2}], "c": [1, {"b": 2}]}


def test_what_an_alias_stands_for_has_its_own_lines() -> None:
    document = parse("a: &here\n  - b: 1\n    c: 2\nd: *here\n", FILE)
    assert document.problem(("d", 0, "c"), "").line == 3
    assert document.problem(("d",), "").line == 4


@pytest.mark.parametrize("text", ["a: &a [*a]", "&a {b: *a}", "a: &a 1\nb: &a [*a]"])
def test_nothing_stands_inside_itself(text: str) -> None:
    (said,) = told_of(text)
    assert "* begins an alias in YAML, and nothing is called 'a' before it" in said


def test_aliases_of_aliases_go_no_deeper_than_anything_else() -> None:
    lines = ["a0: &a0 [x]", *(f"a{level}: &a{level} [*a{level - 1}]" for level in range(1, 40))]
    assert told_of("\n".join(lines)) == ["house.yaml:32: values stand more than 32 deep"]
    content("\n".join(lines[:31]))


def test_aliases_of_aliases_of_aliases_are_an_error_before_they_fill_the_memory() -> None:
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * 10)}]" for level in range(1, 10)]
    assert told_of("\n".join(lines)) == [f"house.yaml:6: holds more than {MAXIMUM_VALUES} values"]


def test_a_long_text_that_aliases_repeat_is_an_error_too() -> None:
    text = f"a: &a {'x' * 100_000}\nb: [{', '.join(['*a'] * 50)}]"
    assert told_of(text) == [f"house.yaml:2: holds more than {MAXIMUM_TEXT} characters, aliases written out"]


def test_a_text_that_is_too_long_is_an_error() -> None:
    assert told_of("#" * (MAXIMUM_TEXT + 1)) == ["house.yaml:1: longer than 4194304 characters"]
    assert content("#" * MAXIMUM_TEXT) is None


def test_a_mapping_with_too_many_keys_is_an_error() -> None:
    keys = [f"k{number}: 1" for number in range(MAXIMUM_KEYS + 1)]
    assert told_of("\n".join(keys)) == ["house.yaml:1001: a mapping with more than 1000 keys"]
    assert len(content("\n".join(keys[1:]))) == MAXIMUM_KEYS


def test_fewer_values_may_be_allowed() -> None:
    assert parse("[a, b, c]", FILE, most_values=4).values == 4
    assert told(lambda: parse("[a, b, c]", FILE, most_values=3)) == ["house.yaml:1: holds more than 3 values"]


@pytest.mark.parametrize(
    "text",
    [
        "a: [" + "x," * 2_000_000 + "]",
        "- - \n" * 800_000,
        "a: &a [" + "x," * 1000 + "]\nb: [" + "*a," * 1_000_000 + "]",
        "{" + "1: x, " * 600_000 + "}",
        "[" * 4_000_000,
    ],
    ids=["items", "lists", "aliases", "keys", "depth"],
)
def test_what_is_too_much_ends_the_reading_before_memory_is_spent(text: str) -> None:
    tracemalloc.start()
    try:
        told(lambda: parse(text, FILE, most_values=20_000))
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 12_000_000  # 20,000 values take about 2 MB, and the text is copied once for the parser


def test_problems_past_a_hundred_are_not_told() -> None:
    said = told_of("\n".join(f"- {{{number}: x}}" for number in range(1000)))
    assert len(said) == MOST_PROBLEMS + 1
    assert said[-1] == "house.yaml:101: mend these first: there are more"


@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse(text, FILE)
    except DocumentError as error:
        assert error.problems  # noqa: PT017 - either of the two is right


@given(st.text("ab01:-,[]{}&*!?|>'\"#% \n\t.~<=\x00\x85\ufeff", max_size=60))
@settings(max_examples=1000)
def test_any_text_of_yamls_own_marks_is_read_or_refused(text: str) -> None:
    try:
        parse(text, FILE)
    except DocumentError as error:
        assert error.problems  # noqa: PT017 - either of the two is right


_names = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=12)
_plain = st.recursive(
    st.booleans() | st.integers() | st.floats(allow_nan=False) | _names,
    lambda below: st.lists(below, max_size=3) | st.dictionaries(_names, below, max_size=3),
    max_leaves=10,
)


_SLIP = re.compile(r"-[A-Za-z]|[A-Za-z_][\w-]*:")
"""Keys that are good YAML and surely a slip."""


def _as_read(value: object) -> bool:
    """Whether no key in it looks like a slip of the pen."""
    if isinstance(value, list):
        return all(map(_as_read, value))
    if isinstance(value, dict):
        return all(not _SLIP.match(key) and _as_read(below) for key, below in value.items())
    return True


@given(_plain.filter(_as_read))
def test_what_a_general_yaml_library_writes_is_read_back(value: object) -> None:
    # PyYAML quotes what YAML 1.1 would take for something else, so that 1.2 reads the same.
    text = yaml.safe_dump({"value": value}, allow_unicode=True, default_flow_style=None)
    assert content(text) == {"value": value}
