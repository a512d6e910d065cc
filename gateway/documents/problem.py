"""One thing that is wrong in a document, and the error that carries all of them."""

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import islice
from typing import Any

from gateway.groundwork.printable import printable

Place = tuple[str | int, ...]
"""The way to a value from the top of a document: keys and list positions."""

MOST_PROBLEMS = 100
"""So many are told at once; who has more will mend these first."""

SHORTEST_BEGINNING = 3
"""So many letters of a word, `lat`, say which word was meant."""

LONGEST_WORD = 64
"""Characters of a word for which the right one is looked for."""

MOST_WORDS = 1000
"""The right words among which it is looked for."""

WIDEST_EXCERPT = 100
"""Characters of a line that are shown."""


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing that is wrong in a document."""

    file: str
    line: int
    """Counted from 1."""

    key: str
    """The way to the value, `rules[2].when.hops`; empty for the document as a whole."""

    what: str
    column: int = 0
    """Counted from 1; 0 where the whole line is meant."""

    excerpt: str = ""
    """The text of the line, where it helps to see it."""

    def __str__(self) -> str:
        """One line for a terminal or a log: what is not printable in it is escaped."""
        return printable(f"{self.file}:{self.line}: {self.key + ': ' if self.key else ''}{self.what}")

    def to_object(self) -> dict[str, Any]:
        """The plain form, for scripts; without a column where the whole line is meant."""
        column = {"column": self.column} if self.column else {}
        return {"file": self.file, "line": self.line, **column, "key": self.key, "what": self.what}

    def shown(self) -> str:
        """The same for a terminal, with the line of the document and a caret under the place, where one is known."""
        if not self.column or not self.excerpt:
            return str(self)
        start = max(0, self.column - 1 - WIDEST_EXCERPT // 2)
        before, after = self.excerpt[start : self.column - 1], self.excerpt[self.column - 1 : start + WIDEST_EXCERPT]
        indent = " " * 4
        return f"{self}\n{indent}{printable(before + after)}\n{indent}{' ' * len(printable(before))}^"


class DocumentError(ValueError):
    """A document cannot be used; `problems` says why, each with its place: the first `MOST_PROBLEMS` of them."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        shown = tuple(islice(problems, MOST_PROBLEMS + 1))
        if len(shown) > MOST_PROBLEMS:
            shown = (*shown[:-1], Problem(shown[-1].file, shown[-1].line, "", "mend these first: there are more"))
        self.problems = shown
        super().__init__("\n".join(map(str, self.problems)))


def key_of(place: Place) -> str:
    """A place as an operator reads it: `rules[2].when.hops`, list positions counted from 0."""
    text = ""
    for part in place:
        if isinstance(part, int):
            text += f"[{part}]"
            continue
        name = part if len(part) <= LONGEST_WORD else f"{part[:LONGEST_WORD]}..."
        text += f".{name}" if text else name
    return text


def nearest(word: str, allowed: Iterable[str]) -> str:
    """A hint at the word that was meant: ` - did you mean "rules"?`, or nothing."""
    words = list(islice(allowed, MOST_WORDS))
    if len(word) > LONGEST_WORD:
        return ""
    begun = [whole for whole in words if whole.startswith(word)] if len(word) >= SHORTEST_BEGINNING else []
    near = begun or difflib.get_close_matches(word, words, n=1, cutoff=0.6)
    return f' - did you mean "{near[0]}"?' if near else ""
