"""A document becomes a model: every mistake with its place, and the work that the first of them take."""

import difflib
from enum import StrEnum
from typing import Annotated, Literal

import pytest
from pydantic import BaseModel, ConfigDict, Field

from gateway.documents import check, parse
from gateway.documents.problem import MOST_PROBLEMS
from tests.documents.told import FILE, told


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
    return told(lambda: check(parse(text, FILE), House))


def test_what_is_right_becomes_the_model() -> None:
    house = check(parse("lamps:\n  - {called: desk, colour: green, watts: 9}\n", FILE), House)
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
        ("lamps: [{called: x, watts: many}]", "lamps[0].watts: a whole number belongs here"),
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


def test_what_is_long_is_cut_in_what_is_told() -> None:
    for said in wrong(f"lamps:\n  - called: x\n    ? {'k' * 90_000}\n    : 1\n    colour: {'k' * 90_000}"):
        assert len(said) < 500


def test_a_model_of_many_mistakes_tells_the_first_hundred(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[str] = []
    close = difflib.get_close_matches

    def counted(word: str, words: list[str], n: int, cutoff: float) -> list[str]:
        asked.append(word)
        return close(word, words, n, cutoff)

    monkeypatch.setattr(difflib, "get_close_matches", counted)
    text = "lamps:\n" + "".join(f"  - {{called: x, color{number}: red}}\n" for number in range(20_000))
    said = wrong(text)
    assert said[:2] == [
        'house.yaml:2: lamps[0].color0: unknown key - did you mean "colour"?',
        'house.yaml:3: lamps[1].color1: unknown key - did you mean "colour"?',
    ]
    assert len(said) <= MOST_PROBLEMS + 1
    assert len(asked) <= 2 * MOST_PROBLEMS


def test_many_mistakes_behind_many_right_entries_are_told_all_the_same() -> None:
    text = "lamps:\n" + "  - {called: x}\n" * 500 + "  - {called: x, watts: many}\n" * 3000
    said = wrong(text)
    assert said[0] == "house.yaml:502: lamps[500].watts: a whole number belongs here"
    assert said[-1] == "house.yaml:602: mend these first: there are more"


def test_a_file_of_nothing_but_mistakes_is_not_described_entry_by_entry() -> None:
    keys = ", ".join(f"k{number}: 1" for number in range(900))
    assert wrong("lamps:\n" + f"  - {{called: x, {keys}}}\n" * 100) == [
        "house.yaml:1: 90000 mistakes: is this the file that was meant?"
    ]
