"""Any bytes at all, and proper reports with something wrong in them: no error, no nonsense, nothing harmful."""

import json
import math
import random
import unicodedata
from collections.abc import Iterator
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from gateway.reports import describe, is_emergency, load_schema, read, to_object
from tests.reports.test_worked_examples import ROWS

SCHEMA = Draft202012Validator(load_schema())
FIRST_OCTETS = [bytes([octet]) for octet in range(256)]
MUTATIONS = 20_000
RANDOM_FIELDS = 20_000
HELD_TO_THE_SCHEMA = 50
"""One in so many: validation takes a hundred times as long as reading."""

HARMFUL = ["\u202e".encode(), b"\xed\xa0\x80", "\u2028".encode(), b"\x00", b"\xff"]
"""A direction override, a lone surrogate, a line separator, and octets that are no text."""

DIRECTION_OVERRIDES = "\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069"
"""Unicode's Bidi_Control."""


def texts_in(value: Any) -> Iterator[str]:  # noqa: ANN401 - any JSON value
    """Every string in a JSON value, names included."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for name, entry in value.items():
            yield name
            yield from texts_in(entry)
    elif isinstance(value, list):
        for entry in value:
            yield from texts_in(entry)


def numbers_in(value: Any) -> Iterator[float]:  # noqa: ANN401 - any JSON value
    """Every number in a JSON value."""
    if isinstance(value, (int, float)):
        yield value
    elif isinstance(value, (dict, list)):
        for entry in value.values() if isinstance(value, dict) else value:
            yield from numbers_in(entry)


def is_harmless(text: str) -> bool:
    """Whether `text` can be shown on one line, as it is written, and be said in JSON. `<` is left to be escaped."""
    return all(unicodedata.category(character) not in {"Cc", "Cs", "Zl", "Zp"} for character in text) and not any(
        character in DIRECTION_OVERRIDES for character in text
    )


def check(destination: str, information: bytes, *, by_schema: bool = True) -> dict[str, Any]:
    """Read, and hold what comes out to all that is promised of it."""
    report = read(destination, information)
    published = to_object(report)
    assert all(math.isfinite(number) for number in numbers_in(published))
    assert -90 <= published.get("latitude", 0) <= 90
    assert -180 <= published.get("longitude", 0) <= 180
    assert all(map(is_harmless, texts_in(published)))
    assert json.loads(json.dumps(published, allow_nan=False, ensure_ascii=False).encode()) == published
    if not information.startswith(b"}"):
        assert is_emergency(destination, information) == report.is_emergency
    if by_schema:
        SCHEMA.validate(published)
        assert all(is_harmless(text) for _, text in describe(report))
    return published


@given(st.text(max_size=9), st.binary(max_size=200))
def test_any_bytes_at_all_are_read(destination: str, information: bytes) -> None:
    check(destination, information)


@pytest.mark.parametrize("first", FIRST_OCTETS)
def test_any_bytes_behind_any_data_type_are_read(first: bytes) -> None:
    chance = random.Random(first)
    for count in range(RANDOM_FIELDS // 256):
        check("S32UVT", first + chance.randbytes(chance.randint(0, 60)), by_schema=count == 0)


def test_proper_reports_with_something_wrong_are_read() -> None:
    chance = random.Random("mutations")
    for count in range(MUTATIONS):
        row = chance.choice(ROWS)
        check(row.destination, mutated(row.information, chance), by_schema=count % HELD_TO_THE_SCHEMA == 0)


def mutated(information: bytes, chance: random.Random) -> bytes:
    """`information` with octets turned, doubled, lost, moved, or a piece of another example put in."""
    octets = bytearray(information)
    for _ in range(chance.randint(1, 4)):
        place = chance.randint(0, len(octets))
        match chance.randint(0, 4):
            case 0 if place < len(octets):
                octets[place] = chance.randint(0, 255)
            case 1:
                octets[place:place] = octets[place : place + chance.randint(1, 9)]
            case 2:
                del octets[place : place + chance.randint(1, 9)]
            case 3:
                other = chance.choice(ROWS).information
                start = chance.randint(0, len(other))
                octets[place:place] = other[start : start + chance.randint(1, 20)]
            case _:
                octets[place:place] = chance.choice(
                    [b"\xe2\x80\xae", b"\xed\xa0\x80", b"\xe2\x80\xa8", b"\x00", b"\xff"]
                )
    return bytes(octets)


@settings(max_examples=300)
@given(st.sampled_from(ROWS), st.integers(0, 120))
def test_a_report_cut_short_anywhere_is_read(row: Any, length: int) -> None:  # noqa: ANN401 - a row of the examples
    check(row.destination, row.information[:length])


HOSTILE_TEXT = (
    b"a\x00b\x1b[31mc\x7fd\xc2\x85e\xe2\x80\xa8f\xe2\x80\xa9g\xe2\x80\xaeh\xe2\x81\xa6i\xd8\x9cj\xef\xbb\xbfk"
)
FIELDS_WITH_TEXT = [
    b"!4903.50N/07201.75W-%b",
    b"=/5L!!<*e7> sT%b",
    b":QA1BCD   :%b",
    b":BLN1     :%b",
    b">%b",
    b"{Q1%b",
    b"<IGATE,%b",
    b"T#005,199,000,255,073,123,01101001%b",
    b":QA1BCD   :PARM.%b",
    b":QA1BCD   :BITS.10110000,%b",
    b"?WX?%b",
    b"_10090556c220s004g005t077%b",
]


@pytest.mark.parametrize("field", FIELDS_WITH_TEXT)
def test_what_could_harm_is_taken_out_of_text_and_the_letters_stay(field: bytes) -> None:
    published = check("APRS", field % HOSTILE_TEXT)
    assert any("ab[31mcdefghijk" in text for text in texts_in(published))


def test_names_are_made_harmless_too() -> None:
    assert check("APRS", b";A\xe2\x80\xaeB\x00\x1b  *092345z4903.50N/07201.75W>")["name"] == "AB"
    assert check("APRS", b")A\xe2\x80\xaeB!4903.50N/07201.75W>")["name"] == "AB"
    assert check("APRS", b":A\xe2\x80\xaeB\x00\x1b  :text")["addressee"] == "AB"


def test_a_name_of_nothing_but_what_is_taken_out_is_refused() -> None:
    assert check("APRS", b";" + b"\x00" * 9 + b"*092345z4903.50N/07201.75W>")["kind"] == "unknown"
    assert check("APRS", b":" + b"\x1b" * 9 + b":text")["kind"] == "unknown"


def test_a_lone_surrogate_is_no_utf_8_and_so_latin_1() -> None:
    assert check("APRS", b">\xed\xa0\x80x")["text"] == "í\xa0x"


def test_markup_is_honest_text_that_pages_must_escape() -> None:
    assert check("APRS", b"><b>&amp;\"'</b>")["text"] == "<b>&amp;\"'</b>"


def test_information_longer_than_any_line_is_not_read() -> None:
    """IS-Connect: a line has 512 octets at most."""
    assert check("APRS", b">" + b"x" * 511)["kind"] == "status"
    assert check("APRS", b">" + b"x" * 512)["kind"] == "unknown"
    assert check("APRS", b"!" * 10_000_000)["kind"] == "unknown"


def test_third_party_nested_without_end_is_given_up() -> None:
    assert check("APRS", b"}A>B:" * 8 + b">Hello")["kind"] == "status"
    assert check("APRS", b"}A>B:" * 9 + b">Hello")["kind"] == "unknown"


@pytest.mark.parametrize(
    "information",
    [
        b"!4903.50N/07201.75W-" + b"|!!" * 140,
        b"!4903.50N/07201.75W-" + b"!w" * 230,
        b'`(_fn"Oj/`' + b"_" * 480,
        b":QA1BCD   :" + b"{" * 480,
        b":QA1BCD   :ack" + b" " * 480 + b"x",
        b">" + b"^A" * 240,
        b"T#" + b"1," * 240,
        b"<" + b"A=B," * 120,
        b"$GPRMC," + b"," * 480,
        b"!" * 512,
        b"_10090556" + b"t077" * 120,
    ],
)  # fmt: skip
def test_information_made_to_be_slow_is_read_at_once(information: bytes) -> None:
    """Were any pattern to run away on these, the test run would never end."""
    check("S32UVT", information)
