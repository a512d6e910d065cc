"""Text for a terminal's columns: nothing in it can move the cursor, and its width is known. No I/O."""

import unicodedata
from collections.abc import Iterator

from gateway.groundwork.printable import escape, printable

MOST_MARKS = 2
"""Combining marks on one letter; more of them, piled up, would cover the lines above."""

_CUT = "..."
_WIDENS = "\ufe0f"
"""It asks for the picture in place of the sign before it, and pictures take two columns (UTS #51 section 1.4.3)."""


def shown(text: str) -> str:
    """`text` on one line. What is not printable is written as its escape: controls, and all that sets directions."""
    if text.isascii():
        return printable(text)
    pieces = []
    marks = MOST_MARKS  # a mark that no letter stands before would join whatever else does
    for one in text:
        is_mark = unicodedata.category(one).startswith("M")
        marks = marks + 1 if is_mark else 0
        too_many = is_mark and marks > MOST_MARKS
        pieces.append(escape(one) if too_many else printable(one))
    return "".join(pieces)


def width(text: str) -> int:
    """How many columns a text that is `shown` takes, at most."""
    return len(text) if text.isascii() else sum(map(_width_of, text))


def _width_of(one: str) -> int:
    if one == _WIDENS:
        return 1
    if unicodedata.category(one) in {"Mn", "Me"}:
        return 0
    return 2 if unicodedata.east_asian_width(one) in {"W", "F"} else 1


def cut(text: str, columns: int) -> str:
    """As much of a text that is `shown` as fits; dots stand for the rest."""
    if width(text) <= columns:
        return text
    dots = _CUT[: max(columns, 0)]
    return _beginning(text, columns - len(dots)) + dots


def padded(text: str, columns: int) -> str:
    """A text that is `shown`, in exactly so many columns."""
    fitting = cut(text, columns)
    return fitting + " " * (columns - width(fitting))


def wrapped(text: str, columns: int) -> Iterator[str]:
    """The lines of a text that is `shown`, broken at spaces, and within a word where one is too long."""
    columns = max(columns, 2)  # the widest letter has room
    line = ""
    for word in text.split():
        if line and width(line) + 1 + width(word) <= columns:
            line = f"{line} {word}"
            continue
        if line:
            yield line
        line = word
        while width(line) > columns:
            beginning = _beginning(line, columns)
            yield beginning
            line = line[len(beginning) :]
    if line:
        yield line


def _beginning(text: str, columns: int) -> str:
    taken = 0
    for place, one in enumerate(text):
        taken += _width_of(one)
        if taken > columns:
            return text[:place]
    return text
