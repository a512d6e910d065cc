"""A document that was read: plain values, with the line of each."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeAlias

from gateway.documents.problem import Place, Problem, key_of

LINE_END = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
"""What YAML's readers take for the end of a line (YAML 1.1 section 5.4, so that 1.2 texts are counted as they do)."""

LONGEST_EXCERPT = 1000
"""Characters of a line that a problem carries."""

_SECRET = re.compile("pass|secret|token|credential", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Branch:
    """The line of a value that holds others, and theirs."""

    line: int
    below: "dict[str, Lines] | list[Lines]"


Lines: TypeAlias = int | Branch
"""The line of a value, counted from 1; in a mapping, that of its key."""


@dataclass(frozen=True)
class Document:
    """A YAML document as plain values, with the line of each."""

    file: str
    text: str
    content: Any
    lines: Lines = 1
    values: int = 0
    """How many values it holds, what an alias stands for counted each time."""

    def problem(self, place: Place, what: str, *, at: str = "") -> Problem:
        """A problem at `place`, or at the nearest place above it that has a line.

        `at` is the value to point at: it stands in that line, or in the one below.
        """
        here = self.lines
        for part in place:
            below = _below(here, part)
            if below is None:
                break
            here = below
        line = here if isinstance(here, int) else here.line
        for number in (line, line + 1) if at else ():
            excerpt = excerpt_of(self._text_lines, number)
            if (column := excerpt.find(at)) >= 0:
                return Problem(self.file, number, key_of(place), what, column + 1, excerpt)
        return Problem(self.file, line, key_of(place), what)

    def place_of(self, location: Sequence[str | int]) -> Place:
        """The parts of `location` that lead to a value; pydantic also names the types that it tried."""
        place: Place = ()
        here = self.lines
        for part in location:
            below = _below(here, part)
            if below is not None:
                place, here = (*place, part), below
        return place

    @cached_property
    def _text_lines(self) -> list[str]:
        return LINE_END.split(self.text)


def excerpt_of(lines: Sequence[str], number: int) -> str:
    """The text of a line, counted from 1, where it may be shown: not where it is endless or could hold a secret."""
    text = lines[number - 1] if number <= len(lines) else ""
    return "" if len(text) > LONGEST_EXCERPT or _SECRET.search(text) else text


def _below(lines: Lines, part: str | int) -> Lines | None:
    """The lines of one value below; None where there is none."""
    if isinstance(lines, int):
        return None
    below = lines.below
    if isinstance(below, dict):
        return below.get(part) if isinstance(part, str) else None
    return below[part] if isinstance(part, int) and part < len(below) else None
