"""What a station can send must not move a cursor, turn a line round, or cover what stands beside it."""

import unicodedata

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.commands.watching.columns import MOST_MARKS, cut, padded, shown, width, wrapped

UNSAFE = {"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"}
"""General categories (Unicode Standard, table 4-4): controls, formats, and what has no shape of its own."""


@given(st.text())
def test_nothing_that_moves_a_cursor_or_turns_a_line_is_shown(text: str) -> None:
    assert not UNSAFE & set(map(unicodedata.category, shown(text)))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("under way", "under way"),
        ("\x1b[2J", "\\x1b[2J"),
        ("one\r\ntwo", "one\\r\\ntwo"),
        ("\x9b31m", "\\x9b31m"),  # the control sequence introducer in one character (ECMA-48 section 8.3.16)
        ("\u202eyaw rednu", "\\u202eyaw rednu"),  # right-to-left override (UAX #9)
        ("\u2066a\u2069", "\\u2066a\\u2069"),  # isolates (UAX #9)
        ("港 café", "港 café"),
        ("e\u0301", "e\u0301"),
        ("\u0301", "\\u0301"),  # it would join the column before
    ],
)
def test_text_from_the_air_is_escaped_where_it_must_be(text: str, expected: str) -> None:
    assert shown(text) == expected


def test_marks_do_not_pile_up_over_the_lines_above() -> None:
    piled = shown("a" + "\u0301" * 50)
    assert piled.count("\u0301") == MOST_MARKS
    assert piled.count("\\u0301") == 50 - MOST_MARKS


@pytest.mark.parametrize(
    ("text", "columns"),
    # UAX #11: wide and fullwidth characters take two columns; combining marks take none.
    [("abc", 3), ("港口", 4), ("\uff21", 2), ("e\u0301", 1), ("⛵", 2), ("❤\ufe0f", 2), ("", 0)],
)
def test_wide_characters_are_counted(text: str, columns: int) -> None:
    assert width(text) == columns


@given(st.text().map(shown), st.integers(0, 100))
def test_what_is_cut_fits(text: str, columns: int) -> None:
    assert width(cut(text, columns)) <= columns
    assert width(padded(text, columns)) == columns


@given(st.text().map(shown), st.integers(2, 60))
def test_wrapped_lines_fit_and_hold_every_word(text: str, columns: int) -> None:
    lines = list(wrapped(text, columns))
    assert all(width(line) <= columns for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


def test_a_text_is_cut_with_dots_and_never_through_a_wide_character() -> None:
    assert cut("under way", 7) == "unde..."
    assert cut("港口港口", 6) == "港..."
    assert cut("under way", 2) == ".."
