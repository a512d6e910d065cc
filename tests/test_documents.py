"""YAML in, checked models out: the types of YAML 1.2, and every mistake with its place and what to do.

YAML 1.2.2 is the published specification (yaml.org, 2021); the rows of its example 10.9 are from memory.
"""

import math
from collections.abc import Callable
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, Literal

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict, Field

from gateway import documents
from gateway.documents import DocumentError, Problem, check, key_of, nearest, parse, read_text


def content(text: str) -> Any:  # noqa: ANN401 - YAML holds anything
    return parse(text, "house.yaml").content


def problems(act: Callable[[], object]) -> list[str]:
    with pytest.raises(DocumentError) as refused:
        act()
    assert str(refused.value) == "\n".join(map(str, refused.value.problems))
    return str(refused.value).splitlines()


def refused(text: str) -> list[str]:
    return problems(lambda: parse(text, "house.yaml"))


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


def test_the_two_parsers_of_yaml_read_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    # A computer without libyaml has the one that is written in Python alone.
    text = "a: [no, 0x13, 12:30, 1.5, true]\nb:\n  c: '~'\n  d: |\n    two\n    lines\n"
    in_c = content(text)
    members = {name: value for name, value in vars(documents._CoreLoader).items() if name.startswith("yaml_")}  # noqa: SLF001
    monkeypatch.setattr(documents, "_CoreLoader", type("Plain", (yaml.SafeLoader,), members))
    assert content(text) == in_c
    assert refused("[" * 100_000) == ["house.yaml:1: values stand more than 32 deep"]
    assert refused("a: 1\nb: \0") == ["house.yaml:2: not YAML: the character 0x00 is no text"]
    assert refused("a: 1\nb: [") == ["house.yaml:2: not YAML: expected the node content, but found '<stream end>'"]


def test_an_empty_document_is_no_mistake() -> None:
    assert content("") is None
    assert content("# nothing yet\n") is None


def test_a_byte_order_mark_and_windows_line_ends_do_no_harm() -> None:
    assert content("\ufeffa: 1\r\nb: 2\r\n") == {"a": 1, "b": 2}


def test_a_key_that_stands_twice_is_named_at_its_second_place() -> None:
    assert refused("a: 1\nb:\n  - c: 1\n    d: 2\n    c: 3\na: 2\n") == [
        "house.yaml:5: b[0].c: this key stands twice",
        "house.yaml:6: a: this key stands twice",
    ]
    assert refused('a: 1\n"a": 2') == ["house.yaml:2: a: this key stands twice"]


def test_a_key_without_a_value_is_named_lest_it_ask_nothing_in_silence() -> None:
    text = "rules:\n  - name: all\n    when:\n      source:\n    then: keep\n  -\n"
    assert refused(text) == [
        "house.yaml:4: rules[0].when.source: there is no value: give one, or leave this out",
        "house.yaml:6: rules[1]: there is no value: give one, or leave this out",
    ]


@pytest.mark.parametrize("key", ["1", "true", "~", "1.5", "[a, b]", "{a: b}", "!!binary YQ=="])
def test_a_key_is_text(key: str) -> None:
    assert refused(f"a: 1\n? {key}\n: 2") == ["house.yaml:2: a key that is no text: put it in quotation marks"]


@pytest.mark.parametrize(
    "value", ["!!set {a, b}", "!!omap [a: b]", "!!timestamp 2026-06-06", "!!python/object:os.system x", "!mine x"]
)
def test_tags_that_make_something_else_of_a_value_are_refused(value: str) -> None:
    first = refused(f"a:\n  b: {value}")[0]
    assert first.startswith("house.yaml:2: a.b: the tag ")
    assert first.endswith(" has no meaning here")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("!!bool maybe", "'maybe' is no bool"),
        ("!!int twelve", "'twelve' is no int"),
        ("!!float much", "'much' is no float"),
        ("9" * 5000, f"'{'9' * 40}' is no int"),
    ],
)
def test_a_value_that_is_not_what_it_says_is_named_with_its_line(value: str, said: str) -> None:
    assert refused(f"a: 1\nb: {value}") == [f"house.yaml:2: not YAML: {said}"]


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("a: [1, 2", 1, "did not find expected ',' or ']'"),
        ("a: 1\nb: 'x", 2, "found unexpected end of stream"),
        ("a:\n\t- b", 2, "found character that cannot start any token"),
        ("a: 1\n---\nb: 2", 2, "but found another document"),
        ("a: *nowhere", 1, "found undefined alias"),
        ("a: 1\n b: 2", 2, "mapping values are not allowed in this context"),
        ("%YAML 3.0\n---\na: 1", 1, "found incompatible YAML document"),
    ],
)
def test_what_is_no_yaml_is_told_with_its_line(text: str, line: int, said: str) -> None:
    if not yaml.__with_libyaml__:
        pytest.skip("the words are those of libyaml")
    assert refused(text) == [f"house.yaml:{line}: not YAML: {said}"]


@pytest.mark.parametrize("character", ["\0", "\x1b", "\x7f", "\x80", "\ud800", "\ufffe"])
def test_what_no_text_holds_is_told_with_its_line(character: str) -> None:
    # YAML 1.2.2 section 5.1: the printable characters.
    said = f"house.yaml:3: not YAML: the character {ord(character):#04x} is no text"
    assert refused(f"a: 1\nb: 2\nc: {character}") == [said]


@pytest.mark.parametrize(
    "text",
    ["[" * 100_000, "[" * 40 + "]" * 40, "{a: " * 40 + "1" + "}" * 40, "- " * 40 + "x", "a: &a [*a]", "&a {b: *a}"],
)
def test_nesting_however_deep_is_an_error(text: str) -> None:
    (said,) = refused(text)
    assert said.startswith("house.yaml:1: ")
    assert "deep" in said or "depth" in said


def test_aliases_stand_for_what_they_name() -> None:
    assert content("a: &here [1, {b: 2}]\nc: *here") == {"a": [1, {"b": 2}], "c": [1, {"b": 2}]}


def aliases_of_aliases(levels: int) -> str:
    """A document of few octets whose values, each alias counted, are about ten to the power of `levels`."""
    lines = ["a0: &a0 [x, x, x, x, x, x, x, x, x, x]"]
    lines += [f"a{level}: &a{level} [{', '.join([f'*a{level - 1}'] * 10)}]" for level in range(1, levels)]
    return "\n".join(lines)


def test_aliases_of_aliases_are_an_error_before_they_fill_the_memory(monkeypatch: pytest.MonkeyPatch) -> None:
    assert documents.MAXIMUM_VALUES <= 1_000_000  # ours: about 100 MB
    monkeypatch.setattr(documents, "MAXIMUM_VALUES", 1000)
    # Without a bound this takes no more than a moment, so that the test fails and does not hang.
    (said,) = refused(aliases_of_aliases(4))
    assert said.endswith("holds more than 1000 values")


def test_a_document_may_hold_as_many_values_as_the_bound_and_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(documents, "MAXIMUM_VALUES", 5)
    assert content("[a, b, {c: d}]") == ["a", "b", {"c": "d"}]
    assert refused("[a, b, {c: d},\n e]") == ["house.yaml:2: holds more than 5 values"]


def test_a_text_that_is_too_long_is_an_error() -> None:
    assert refused("#" * (documents.MAXIMUM_TEXT + 1)) == ["house.yaml:1: longer than 4194304 characters"]
    assert content("#" * documents.MAXIMUM_TEXT) is None


@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        parse(text, "house.yaml")
    except DocumentError as error:
        assert error.problems  # noqa: PT017 - either of the two is right


@given(st.text("ab01:-,[]{}&*!?|>'\"#% \n\t.~<=\x00\x85\ufeff", max_size=60))
@settings(max_examples=1000)
def test_any_text_of_yamls_own_marks_is_read_or_refused(text: str) -> None:
    try:
        parse(text, "house.yaml")
    except DocumentError as error:
        assert error.problems  # noqa: PT017 - either of the two is right


_names = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=12)
_plain = st.recursive(
    st.booleans() | st.integers() | st.floats(allow_nan=False) | _names,
    lambda below: st.lists(below, max_size=3) | st.dictionaries(_names, below, max_size=3),
    max_leaves=10,
)


@given(_plain)
def test_what_a_general_yaml_library_writes_is_read_back(value: object) -> None:
    # PyYAML quotes what YAML 1.1 would take for something else, so that 1.2 reads the same.
    text = yaml.safe_dump({"value": value}, allow_unicode=True, default_flow_style=None)
    assert content(text) == {"value": value}


class Colour(StrEnum):
    RED = "red"
    GREEN = "green"


class Lamp(BaseModel):
    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True)

    name: Annotated[str, Field(alias="called")]
    colour: Colour = Colour.RED
    watts: Annotated[int, Field(ge=1, le=100)] = 40
    height: float = 1.0


class House(BaseModel):
    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True)

    version: Literal["1"] = "1"
    lamps: Annotated[list[Lamp], Field(min_length=1)]
    porch: Lamp | None = None
    rooms: dict[str, Lamp] = {}


def wrong(text: str) -> list[str]:
    return problems(lambda: check(parse(text, "house.yaml"), House))


def test_what_is_right_becomes_the_model() -> None:
    house = check(parse("lamps:\n  - {called: desk, colour: green, watts: 9}\n", "house.yaml"), House)
    assert house.lamps == [Lamp.model_validate({"called": "desk", "colour": "green", "watts": 9})]


def test_a_missing_key_is_told_at_the_line_of_what_lacks_it() -> None:
    assert wrong("") == ["house.yaml:1: lamps: this key is missing, and it is required"]
    assert wrong("lamps:\n  - {called: desk}\n  - colour: red\n") == [
        "house.yaml:3: lamps[1].called: this key is missing, and it is required"
    ]


def test_an_unknown_key_is_told_with_the_nearest_right_one() -> None:
    assert wrong("lamps: [{called: x}]\nproch: {called: y}") == [
        'house.yaml:2: proch: unknown key - did you mean "porch"?'
    ]
    assert wrong("lamps:\n - called: x\n   color: red") == [
        'house.yaml:3: lamps[0].color: unknown key - did you mean "colour"?'
    ]
    assert wrong("lamps: [{called: x}]\nporch:\n  called: y\n  wats: 3") == [
        'house.yaml:4: porch.wats: unknown key - did you mean "watts"?'
    ]
    assert wrong("lamps: [{called: x}]\nrooms:\n  hall: {called: y, call: z}") == [
        'house.yaml:3: rooms.hall.call: unknown key - did you mean "called"?'
    ]


def test_an_unknown_key_like_no_other_is_told_with_the_keys_that_there_are() -> None:
    assert wrong("lamps: [{called: x, zzz: 1}]") == [
        "house.yaml:1: lamps[0].zzz: unknown key; the keys here are called, colour, watts, height"
    ]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[]", "keys with values belong here: version, lamps, porch, rooms"),
        ("just words", "keys with values belong here: version, lamps, porch, rooms"),
        ("lamps: 3", "lamps: a list belongs here, as [one, another]"),
        ("lamps: []", "lamps: at least one belongs here"),
        ("lamps: [desk]", "lamps[0]: keys with values belong here: called, colour, watts, height"),
        ("lamps: [{called: x}]\nporch: y", "porch: keys with values belong here: called, colour, watts, height"),
        ("lamps: [{called: x}]\nrooms: y", "rooms: keys with values belong here"),
        ("lamps: [{called: 5}]", "lamps[0].called: text belongs here; put it in quotation marks"),
        ("lamps: [{called: x, watts: many}]", "lamps[0].watts: this should be a valid integer"),
        ("lamps: [{called: x, watts: 0}]", "lamps[0].watts: this should be greater than or equal to 1"),
        ("lamps: [{called: x, height: high}]", "lamps[0].height: a number belongs here"),
        (
            "lamps: [{called: x, colour: grean}]",
            "lamps[0].colour: this should be 'red' or 'green' - did you mean \"green\"?",
        ),
        ("lamps: [{called: x}]\nversion: '2'", "version: this should be '1'"),
    ],
)
def test_what_does_not_belong_is_told_with_what_does(text: str, said: str) -> None:
    (told,) = wrong(text)
    assert said in told


def test_every_problem_is_told_at_once() -> None:
    said = wrong("lamps:\n  - {called: 1}\n  - {colour: red}\nprch: 2\nversion: '3'\n")
    assert [line.split(":")[1] for line in said] == ["5", "2", "3", "4"]


def test_a_value_is_never_repeated_where_it_could_be_a_secret() -> None:
    assert "hush" not in "".join(wrong("lamps: [{called: x, password: hush}]\nrooms: hush\nversion: [hush]"))


def test_a_place_is_written_as_an_operator_reads_it() -> None:
    assert key_of(("rules", 2, "when", "hops")) == "rules[2].when.hops"
    assert key_of((0, "a")) == "[0].a"
    assert key_of(()) == ""


def test_the_nearest_word_is_near() -> None:
    assert nearest("ruels", ["rules", "rates"]) == ' - did you mean "rules"?'
    assert nearest("lat", ["locator", "latitude"]) == ' - did you mean "latitude"?'
    assert nearest("zebra", ["rules", "rates"]) == ""
    assert nearest("", ["rules", "rates"]) == ""


def test_a_problem_stays_one_line_on_a_terminal_whatever_stands_in_it() -> None:
    problem = Problem("house.yaml", 3, "a\x1b[31m\n", "b\u202e\ud800 ok é")
    assert str(problem) == r"house.yaml:3: a\x1b[31m\n: b\u202e\ud800 ok é"


def test_a_file_is_read_as_text(tmp_path: Path) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(b"\xef\xbb\xbfa: \xc3\xa9\r\n")
    assert read_text(path) == "a: é\r\n"


def test_a_file_that_cannot_be_read_is_told_in_words(tmp_path: Path) -> None:
    (tmp_path / "binary").write_bytes(b"\xff\xfe\x00")
    (tmp_path / "long").write_bytes(b"x" * 11)
    for path, said in (
        (tmp_path / "none", "No such file or directory"),
        (tmp_path, "Is a directory"),
        (tmp_path / "binary", "it is no UTF-8 text"),
        (tmp_path / "long", "it is longer than 10 octets"),
        (tmp_path / "a\0b", "no file can have such a name"),
        (tmp_path / "\ud800", "no file can have such a name"),
        (Path("/dev/zero"), "it is longer than 10 octets"),
    ):
        with pytest.raises(OSError, match=said) as refusal:
            read_text(path, 10)
        assert refusal.value.strerror == said
