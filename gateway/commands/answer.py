"""What a command answers, in each of the forms in which it is printed: words, one object, a table."""

import csv
import io
from collections.abc import Iterator, Sequence
from typing import Protocol

from gateway.frames.plain import PlainObject
from gateway.groundwork.printable import printable

_FORMULA_STARTS = ("=", "+", "-", "@")
"""A spreadsheet takes a cell that begins so for a formula, whoever wrote it: none may come in from the air."""


class CommandAnswer(Protocol):
    """What was found out."""

    def to_object(self) -> PlainObject:
        """The plain form."""

    def in_words(self) -> str:
        """For a terminal. Text from the air is escaped."""


class TableAnswer(CommandAnswer, Protocol):
    """What was found out of many."""

    def rows(self) -> Iterator[Sequence[object]]:
        """For a table, a heading first."""


def counted(number: int, thing: str) -> str:
    """How many there are of a thing: `1 frame`, `2,000 frames`."""
    return f"{number:,} {thing}{'' if number == 1 else 's'}"


def as_csv(rows: Iterator[Sequence[object]]) -> str:
    """Rows as CSV (RFC 4180)."""
    out = io.StringIO()
    csv.writer(out, lineterminator="\r\n").writerows(map(cells, rows))
    return out.getvalue()


def cells(row: Sequence[object]) -> list[object]:
    """A row for CSV: its text is printable, and no spreadsheet takes any of it for a formula."""
    return [_cell(printable(value)) if isinstance(value, str) else value for value in row]


def _cell(text: str) -> str:
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text
