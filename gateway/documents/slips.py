"""What is no YAML, in words for the operator: the usual slips of the pen, told from the text where the parser stopped.

The parser's own words are for those who know its grammar, and differ from one parser to another; only the two places
that it gives are used: where it stopped, and where what it was reading began.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import yaml

IN_QUOTES = "put text that begins so in quotation marks"
TAG = f"! begins a tag in YAML, and none has a meaning here: leave it out, or {IN_QUOTES}"

MOST_BRACKETS = 100
"""Open at one place; the parser in C takes no more than a thousand."""

_OPENERS = {"[": "]", "{": "}"}
_CLOSERS = {"]": "[", "}": "{"}
_COMMA = "there is nothing before this comma: take it out"
_QUOTES = "'\""
_NO_SPACE = re.compile(r"(?P<key>[A-Za-z_][\w-]*):(?![\s/])\S")
"""A key, a colon and a value that touches it; `kiss+tcp://` is none."""

_NO_SPACE_LINE = re.compile(rf"\s*(?:- +)*{_NO_SPACE.pattern}")
_BRACKET = re.compile(r"'[^']*'|\"[^\"]*\"|(?:^|\s)#.*|[\[\]{}]")
_KEY_LINE = re.compile(r"\s*(?:- +)*[\w-]+\s*:(?:\s|$)|\s*-\s")
_BARE_WORD = re.compile(r"\s*(?P<key>[A-Za-z_][\w-]*)\s*(?:#.*)?")
_DECIMAL_COMMA = re.compile(r"([-+]?\d+),(\d+)")


@dataclass(frozen=True, slots=True)
class Slip:
    """Where something is no YAML, and what it is."""

    line: int
    """Counted from 1, as the column."""

    column: int
    what: str


@dataclass(frozen=True, slots=True)
class _Spot:
    """A place in the text, counted from 0."""

    line: int
    column: int


class _Stop:
    """Where the parser stopped, and what stands around it."""

    def __init__(self, lines: Sequence[str], error: yaml.MarkedYAMLError) -> None:
        self.lines = lines
        mark = error.problem_mark or error.context_mark
        self.spot = _Spot(mark.line, mark.column) if mark and mark.line < len(lines) else self._last()
        rest = [lines[self.spot.line][self.spot.column :], *lines[self.spot.line + 1 :]]
        self.is_at_end = not any(line.strip() for line in rest)
        begun = error.context_mark
        self.begun = _Spot(begun.line, begun.column) if begun and begun.line < len(lines) else self.spot
        self.line = lines[self.spot.line]
        self.before = self.line[: self.spot.column]
        self.at = self.line[self.spot.column : self.spot.column + 1]
        self.opener = lines[self.begun.line][self.begun.column : self.begun.column + 1]

    def slip(self, what: str, spot: _Spot | None = None) -> Slip:
        """What is wrong, here or at another place."""
        spot = spot or self.spot
        return Slip(spot.line + 1, spot.column + 1, what)

    def line_above(self) -> int | None:
        """The number of the nearest line above that says something."""
        numbers = range(self.spot.line - 1, -1, -1)
        return next((at for at in numbers if self.lines[at].strip() and self.lines[at].strip()[0] != "#"), None)

    def _last(self) -> _Spot:
        number = next((at for at in range(len(self.lines) - 1, -1, -1) if self.lines[at].strip()), 0)
        return _Spot(number, len(self.lines[number].rstrip()))


def of(lines: Sequence[str], error: yaml.MarkedYAMLError) -> Slip:
    """The slip that made the parser of a text, given by its lines, stop with `error`."""
    stop = _Stop(lines, error)
    slips = (tell(stop) for tell in (_depth, _tab, _quotes, _first_character, _brackets, _colon, _indentation))
    what = "this is no YAML: look at the colons, brackets and quotation marks here, and how far the line stands in"
    return next((slip for slip in slips if slip is not None), stop.slip(what))


def of_key(key: str, *, has_value: bool) -> str | None:
    """What slipped in a key that is good YAML, yet surely not meant; None where nothing did."""
    if re.match(r"-[A-Za-z]", key):
        return f"a space is missing after the dash: write `- {key[1:][:40]}:`"
    return None if has_value else no_space(key)


def no_space(text: str) -> str | None:
    """What is wrong with a text that is a key and a value with no space between; None where it is none."""
    match = _NO_SPACE.match(text)
    return None if match is None else f"a space is missing after the colon: write `{match['key'][:40]}: ` and the value"


def decimal_comma(before: dict[str, Any], rest: str) -> str | None:
    """What is wrong where the last value before is a whole number, and `rest` are digits after a comma."""
    whole = next(reversed(before.values()), None)
    if isinstance(whole, int) and rest.isdecimal():
        return comma_in(f"{whole},{rest}")
    return None


def comma_in(number: str) -> str | None:
    """What is wrong with a number that is written with a comma; None where it is none."""
    match = _DECIMAL_COMMA.fullmatch(number[:40])
    return None if match is None else f"a number is written with a point: {match[1]}.{match[2]}"


def _depth(stop: _Stop) -> Slip | None:
    """The parser in C looks ahead of what is read, and has a bound of its own."""
    text = "".join([*stop.lines[: stop.spot.line], stop.before])
    depth = sum(map(text.count, _OPENERS)) - sum(map(text.count, _CLOSERS))
    return stop.slip("too many brackets stand in one another") if depth > MOST_BRACKETS else None


def _tab(stop: _Stop) -> Slip | None:
    indent = stop.line[: len(stop.line) - len(stop.line.lstrip())]
    if "\t" in indent:
        spot = _Spot(stop.spot.line, indent.index("\t"))
        return stop.slip("a tab stands here: YAML is indented with spaces, write spaces instead", spot)
    if stop.at == "\t":
        return stop.slip("a tab stands here: write a space instead")
    return None


def _quotes(stop: _Stop) -> Slip | None:
    if stop.opener and stop.opener in _QUOTES:
        if stop.is_at_end:
            return stop.slip("the quotation mark that opens here is not closed", stop.begun)
        if stop.opener == '"':
            what = "in double quotes a backslash has a meaning of its own: write single quotes, or two backslashes"
            return stop.slip(what)
    if stop.before.rstrip()[-1:] in _QUOTES and stop.before.strip() and stop.at and stop.at not in ":,]}'\"":
        what = "more stands after the closing quotation mark; one inside the text is written twice, as 'it''s'"
        return stop.slip(what)
    return None


def _brackets(stop: _Stop) -> Slip | None:
    never_closed = _never_closed(stop.lines)
    begun = never_closed[-1] if stop.is_at_end and never_closed else stop.begun
    opener = stop.lines[begun.line][begun.column : begun.column + 1]
    closer = _OPENERS.get(opener)
    if closer is None or begun == stop.spot:
        if stop.at in _CLOSERS:
            return stop.slip(f"this closes a bracket, and no {_CLOSERS[stop.at]} is open")
        return stop.slip(_COMMA) if stop.at == "," else None
    if stop.at in _CLOSERS and stop.at != closer:
        return stop.slip(f"{opener} is closed by {closer}: write {closer} here, or before this")
    if begun in never_closed:
        return stop.slip(f"the bracket {opener} that opens here is not closed: write {closer} at its end", begun)
    return stop.slip(_COMMA if stop.at == "," else "a comma is missing before this, or a bracket is not closed")


def _never_closed(lines: Sequence[str]) -> list[_Spot]:
    """The brackets to which none belongs that closes them; those in quotation marks and comments do not count."""
    opened: list[_Spot] = []
    for number, line in enumerate(lines):
        for match in _BRACKET.finditer(line):
            if match[0] in _OPENERS:
                opened.append(_Spot(number, match.start()))
            elif match[0] in _CLOSERS and opened:
                opened.pop()
    return opened


def _first_character(stop: _Stop) -> Slip | None:
    if stop.at and stop.at in "@`%" and stop.spot.column and not stop.line.startswith("%"):
        return stop.slip(f"{stop.at} may not begin a value in YAML: {IN_QUOTES}")
    if stop.opener and stop.opener in "*&!|>":
        return stop.slip(f"{stop.opener} has a meaning of its own in YAML: {IN_QUOTES}", stop.begun)
    if stop.line.startswith("%"):
        return stop.slip("a line that begins with % is for YAML's own directives: leave it out")
    return None


def _colon(stop: _Stop) -> Slip | None:
    """The parser met a colon where it was reading a value: of this line, or of one above that went on to here."""
    if stop.at != ":":
        return None
    if re.search(r":\s", stop.before):
        return stop.slip("a second colon in one line: put text that holds one and a space in quotation marks")
    above = stop.line_above()
    if above is None:
        return None
    if (match := _NO_SPACE_LINE.match(stop.lines[above])) is not None:
        spot = _Spot(above, match.end("key"))
        return stop.slip(no_space(stop.lines[above][match.start("key") :]) or "", spot)
    if (match := _BARE_WORD.fullmatch(stop.lines[above])) is not None:
        spot = _Spot(above, match.end("key"))
        return stop.slip(f"a colon is missing: write `{match['key'][:40]}:`", spot)
    return None


def _indentation(stop: _Stop) -> Slip | None:
    """The line stands where nothing above it goes on, or something else."""
    if stop.at == "-" and stop.before.rstrip().endswith(":"):
        return stop.slip("a list begins on a line of its own, or is written as [one, another]")
    if stop.before.strip(" -") and stop.at != ":":
        return None
    spot = _Spot(stop.spot.line, len(stop.line) - len(stop.line.lstrip()))
    if stop.line.lstrip().startswith("- ") and stop.before.strip() == "":
        what = "an item of a list stands here among keys: let it stand under the first item, or under its key"
        return stop.slip(what, spot)
    if _KEY_LINE.match(stop.line):
        what = "the indentation fits nothing above: what belongs together begins in the same column"
        return stop.slip(what, spot)
    return None
