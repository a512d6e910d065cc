"""Slips of the pen in a YAML file: each in our own words, with the line and a caret under the place.

What is and is no YAML is told by a general-purpose library, PyYAML, whose words never show: both of its parsers stop at
the same places.
"""

import re

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from pydantic import BaseModel, ConfigDict

from gateway.documents import DocumentError, Problem, check, parse, reading
from tests.documents.told import FILE

QUOTES = "put text that begins so in quotation marks"
TAB = "a tab stands here: YAML is indented with spaces, write spaces instead"
INDENTATION = "the indentation fits nothing above: what belongs together begins in the same column"
ITEM = "an item of a list stands here among keys: let it stand under the first item, or under its key"
BRACKET = "the bracket [ that opens here is not closed: write ] at its end"
BRACE = "the bracket { that opens here is not closed: write } at its end"
COMMA = "a comma is missing before this, or a bracket is not closed"
QUOTE = "the quotation mark that opens here is not closed"
APOSTROPHE = "more stands after the closing quotation mark; one inside the text is written twice, as 'it''s'"
SECOND_COLON = "a second colon in one line: put text that holds one and a space in quotation marks"
TAG = f"! begins a tag in YAML, and none has a meaning here: leave it out, or {QUOTES}"

SLIPS = [
    # tabs
    ("station:\n\tcallsign: QX1GAT\n", "2:1", TAB),
    ("station:\n  callsign: QX1GAT\n\tposition: x\n", "3:1", TAB),
    ("station:\n  callsign: QX1GAT\n  \tposition: x\n", "3:3", TAB),
    ("receivers:\n\t- name: vhf\n", "2:1", TAB),
    # a missing space
    (
        "station:\n  callsign:QX1GAT-10\n  position: {locator: IO88AO}\n",
        "2:11", "a space is missing after the colon: write `callsign: ` and the value",
    ),
    ("policy:mine\nweb: {}\n", "1:7", "a space is missing after the colon: write `policy: ` and the value"),
    (
        "receivers:\n  - name:vhf\n    from: x\n",
        "2:9", "a space is missing after the colon: write `name: ` and the value",
    ),
    (
        "position: {latitude:58.6, longitude: -3.9}\n",
        "1:12", "a space is missing after the colon: write `latitude: ` and the value",
    ),
    ("receivers:\n  -name: vhf\n", "2:3", "a space is missing after the dash: write `- name:`"),
    # a missing colon
    ("station:\n  callsign\n  position: {}\n", "2:11", "a colon is missing: write `callsign:`"),
    ("station\nreceivers: x\n", "1:8", "a colon is missing: write `station:`"),
    # a colon too many
    ("name: a: b\n", "1:8", SECOND_COLON),
    ("rules:\n  - contains: see: below\n    then: keep\n", "2:18", SECOND_COLON),
    # a decimal comma
    ("position: {latitude: 58,6, longitude: 3.9}\n", "1:25", "a number is written with a point: 58.6"),
    ("position: {latitude: 58.6, longitude: -3,9}\n", "1:42", "a number is written with a point: -3.9"),
    # indentation
    ("policy: mine\n web: {}\n", "2:2", INDENTATION),
    ("station:\n  callsign: QX1GAT\n    position: {}\n", "3:5", INDENTATION),
    ("station:\n    callsign: QX1GAT\n  position: {}\n", "3:3", INDENTATION),
    ("  policy: mine\nweb: {}\n", "2:1", INDENTATION),
    ("receivers:\n  - name: vhf\n   from: x\n", "3:4", INDENTATION),
    ("receivers:\n  - name: vhf\n     from: x\n", "3:6", INDENTATION),
    ("servers:\n  - a\n  policy: b\n", "3:3", INDENTATION),
    ("receivers:\n    - name: vhf\n      from: x\n   - name: hf\n", "4:4", ITEM),
    ("station:\n  callsign: QX1GAT\n  - a\n", "3:3", ITEM),
    ("servers: - a\n", "1:10", "a list begins on a line of its own, or is written as [one, another]"),
    # brackets
    ("source: [QA1BCD, QB2CDE\nthen: keep\n", "1:9", BRACKET),
    ("source: [QA1BCD, QB2CDE", "1:9", BRACKET),
    ("source: [", "1:9", BRACKET),
    ("source: [QA1BCD,\n\n", "1:9", BRACKET),
    ("source: [QA1BCD, ']'\nthen: keep # ]\n", "1:9", BRACKET),
    ("when: {source: QA1BCD\nthen: keep\n", "1:7", BRACE),
    ("rules:\n  - {name: a, when: {source: x}, then: keep\n  - {name: b, then: keep}\n", "2:5", BRACE),
    ("source: [QA1BCD}\n", "1:16", "[ is closed by ]: write ] here, or before this"),
    ("source: [QA1BCD]]\n", "1:17", "this closes a bracket, and no [ is open"),
    ("when: {source: QA1BCD}}\n", "1:23", "this closes a bracket, and no { is open"),
    ("when: {source: QA1BCD receiver: vhf}\n", "1:31", COMMA),
    ("source: ['QA1BCD' 'QB2CDE']\n", "1:19", COMMA),
    ("source: [, QA1BCD]\n", "1:10", "there is nothing before this comma: take it out"),
    # quotation marks
    ("contains: 'test\nthen: keep\n", "1:11", QUOTE),
    ('contains: "test\nthen: keep\n', "1:11", QUOTE),
    ("contains: 'it's'\n", "1:15", APOSTROPHE),
    ("contains: 'a' b\n", "1:15", APOSTROPHE),
    # characters with a meaning of their own
    ("source: @club\n", "1:9", f"@ may not begin a value in YAML: {QUOTES}"),
    ("source: [@club]\n", "1:10", f"@ may not begin a value in YAML: {QUOTES}"),
    ("contains: `x`\n", "1:11", f"` may not begin a value in YAML: {QUOTES}"),
    ("contains: %x\n", "1:11", f"% may not begin a value in YAML: {QUOTES}"),
    ("source: *\n", "1:9", f"* has a meaning of its own in YAML: {QUOTES}"),
    ("source: [*, QA1BCD]\n", "1:10", f"* has a meaning of its own in YAML: {QUOTES}"),
    ("source: *-9\n", "1:9", f"* begins an alias in YAML, and nothing is called '-9' before it: {QUOTES}"),
    ("contains: &\n", "1:11", f"& has a meaning of its own in YAML: {QUOTES}"),
    ("contains: !x\n", "1:11", TAG),
    ("contains: !!str 5\n", "1:11", TAG),
    ("contains: !e!x 5\n", "1:11", f"! has a meaning of its own in YAML: {QUOTES}"),
    ("symbol: |x\n", "1:9", f"| has a meaning of its own in YAML: {QUOTES}"),
    ("symbol: >a\n", "1:9", f"> has a meaning of its own in YAML: {QUOTES}"),
    ("%YAML 3.0\n---\na: 1\n", "1:1", "a line that begins with % is for YAML's own directives: leave it out"),
    # twice
    ("policy: a\nweb: {}\npolicy: b\n", "3:1", "this key stands twice: take one out"),
    ("12: a\n", "1:1", "a key that is no text: put it in quotation marks"),
    # what is left
    (
        "a: ? b\n",
        "1:4", "this is no YAML: look at the colons, brackets and quotation marks here, and how far the line stands in",
    ),
]  # fmt: skip


def first_problem(text: str) -> Problem:
    with pytest.raises(DocumentError) as refused:
        parse(text, FILE)
    return refused.value.problems[0]


@pytest.mark.parametrize("parser", ["SafeLoader", "CSafeLoader"])
@pytest.mark.parametrize(("text", "place", "said"), SLIPS, ids=lambda value: repr(value)[:60])
def test_a_slip_is_told_in_our_words_with_a_caret_under_the_place(
    monkeypatch: pytest.MonkeyPatch, parser: str, text: str, place: str, said: str
) -> None:
    monkeypatch.setattr(reading, "_LOADER", getattr(yaml, parser, yaml.SafeLoader))
    problem = first_problem(text)
    assert (f"{problem.line}:{problem.column}", problem.what) == (place, said)
    line, column = map(int, place.split(":"))
    assert problem.shown().split("\n")[1:] == [f"    {text.splitlines()[line - 1]}", " " * (column + 3) + "^"] or (
        "\t" in text
    )


def test_a_backslash_in_double_quotes_is_told() -> None:
    said = "in double quotes a backslash has a meaning of its own: write single quotes, or two backslashes"
    assert first_problem('symbol: "\\d"').what == said


def test_a_second_document_is_told() -> None:
    assert str(first_problem("a: 1\n---\nb: 2\n")) == "house.yaml:2: a second document begins here: a file holds one"


@pytest.mark.parametrize("line", ["passcode: 'x", "Token: [x", "web: {password_file: [x", "secret:\tx: y"])
def test_a_line_that_could_hold_a_secret_is_not_shown(line: str) -> None:
    problem = first_problem(f"a: 1\n{line}\n")
    assert problem.line == 2
    assert "x" not in problem.shown().split(":", 2)[-1].replace("text", "")
    assert problem.excerpt == ""


def test_an_endless_line_is_not_shown() -> None:
    assert first_problem(f"a: [{'x' * 2000}").excerpt == ""


class Position(BaseModel):
    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True)

    latitude: float


class Station(BaseModel):
    model_config = ConfigDict(extra="forbid", hide_input_in_errors=True)

    position: Position


@pytest.mark.parametrize(
    ("text", "place", "said"),
    [
        ("position:\n  latitude: 58,6\n", "2:13", "a number is written with a point: 58.6"),
        ("position:\n  latitude:58.6\n", "2:3", "a space is missing after the colon: write `latitude: ` and the value"),
        ("position:latitude\n", "1:1", "a space is missing after the colon: write `position: ` and the value"),
    ],
)
def test_a_slip_that_is_good_yaml_is_told_too(text: str, place: str, said: str) -> None:
    with pytest.raises(DocumentError) as refused:
        check(parse(text, FILE), Station)
    problem = refused.value.problems[0]
    assert (f"{problem.line}:{problem.column}", problem.what) == (place, said)


WORDS_OF_PARSERS = re.compile(
    "mapping values|block (?:mapping|collection|end)|flow (?:mapping|sequence)|token|scalar|node|<[a-z ]+>|did not find"
)


@given(st.text("ab1:-,[]{}&*!?|>'\"#%@` \n\t", max_size=40))
def test_the_words_of_the_parser_never_show(text: str) -> None:
    try:
        parse(text, FILE)
    except DocumentError as error:
        assert not WORDS_OF_PARSERS.search(str(error))  # noqa: PT017 - either of the two is right
