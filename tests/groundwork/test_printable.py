import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.groundwork.printable import printable


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Kittiwake, 12 °C \\o/", "Kittiwake, 12 °C \\o/"),
        ("two\r\nlines", "two\\r\\nlines"),
        ("\x1b[2Jgone", "\\x1b[2Jgone"),  # ECMA-48: erase the display
        ("a\x85b\u2028c", "a\\x85b\\u2028c"),  # both end a line to some readers (UAX #14)
        ("\u202eevil", "\\u202eevil"),  # UAX #9: right-to-left override
        ("\ud800", "\\ud800"),  # a lone surrogate
    ],
)
def test_what_cannot_be_printed_is_written_as_its_escape(text: str, shown: str) -> None:
    assert printable(text) == shown


@pytest.mark.parametrize(
    ("text", "shown"), [("12345", "12345"), ("123456", "1234…"), ("123\n", "123\\n"), ("1234\n", "1234…")]
)
def test_what_would_be_too_long_is_cut_and_says_so(text: str, shown: str) -> None:
    assert printable(text, 5) == shown


@given(st.text(), st.none() | st.integers(1, 20))
def test_any_text_comes_out_printable_and_no_longer_than_it_may_be(text: str, longest: int | None) -> None:
    shown = printable(text, longest)
    assert shown.isprintable()
    assert longest is None or len(shown) <= longest
    assert shown == text or not text.isprintable() or len(text) > (longest or 0)
