"""YAML text becomes a document: plain values with the line of each, within bounds that hold before memory is spent.

PyYAML's parser gives events, and the values are made from them as they come: whatever is too much ends the reading
there. An alias stands for the same value, and counts as often as it is written.
"""

import re
from dataclasses import dataclass
from functools import cached_property
from typing import Any, NoReturn, TypeAlias

import yaml

from gateway.documents import slips
from gateway.documents.document import LINE_END, Branch, Document, Lines, excerpt_of
from gateway.documents.problem import MOST_PROBLEMS, DocumentError, Place, Problem, key_of
from gateway.documents.scalars import Scalar, plain_value
from gateway.documents.text import MAXIMUM_TEXT

MAXIMUM_VALUES = 200_000
"""Values of one document; a list of 100,000 callsigns takes half of them. At about 0.5 kB for one, when it is a rule's,
that is 100 MB at the very most."""

MAXIMUM_KEYS = 1000
"""Keys of one mapping: no section has more than twenty, and a policy has some dozens of groups."""

MAXIMUM_DEPTH = 32
"""How deep values may stand in one another."""

_TOO_DEEP = f"values stand more than {MAXIMUM_DEPTH} deep"

_LOADER = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
"""The parser in C where PyYAML was built with it: it takes a tenth of the time."""

Event: TypeAlias = Any
"""One of PyYAML's, whose base has none of the attributes."""

_UNACCEPTABLE = re.compile("[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")
"""What no YAML text holds (YAML 1.2.2 section 5.1)."""


def parse(text: str, file: str, *, most_values: int = MAXIMUM_VALUES) -> Document:
    """Read one YAML document. Raises `DocumentError` where it is no YAML, or where a value may not stand in one."""
    if len(text) > MAXIMUM_TEXT:
        raise DocumentError([Problem(file, 1, "", f"longer than {MAXIMUM_TEXT} characters")])
    text = text.removeprefix("\ufeff")
    if (bad := _UNACCEPTABLE.search(text)) is not None:
        before = LINE_END.split(text[: bad.start()])
        what = f"the character {ord(bad[0]):#04x} is no text: take it out"
        raise DocumentError([Problem(file, len(before), "", what)])
    return _Reader(text, file, most_values).document()


@dataclass(frozen=True, slots=True)
class _Anchored:
    """What an alias stands for, and what it weighs each time that it is used."""

    value: Any
    lines: Lines
    values: int
    characters: int
    depth: int
    """How many levels stand in it."""


class _Reader:
    """Reads one document from the parser's events."""

    def __init__(self, text: str, file: str, most_values: int) -> None:
        self._text = text
        self._file = file
        self._most_values = most_values
        self._next = _LOADER(text).get_event
        self._anchors: dict[str, _Anchored] = {}
        self._problems: list[Problem] = []
        self._place: list[str | int] = []
        self._deepest = 0
        self._values = 0
        self._characters = 0

    @cached_property
    def _lines(self) -> list[str]:
        return LINE_END.split(self._text)

    def document(self) -> Document:
        """All of it. Raises `DocumentError`."""
        try:
            content, lines = self._whole()
        except yaml.MarkedYAMLError as error:
            slip = slips.of(self._lines, error)
            self._refuse(slip.line, slip.what, slip.column)
        if self._problems:
            raise DocumentError(self._problems)
        return Document(self._file, self._text, content, lines, self._values)

    def _whole(self) -> tuple[Any, Lines]:
        read: tuple[Any, Lines] = (None, 1)
        self._next()  # the stream's start
        event = self._next()
        if isinstance(event, yaml.DocumentStartEvent):
            read = self._value(self._next())
            self._next()  # the document's end
            event = self._next()
        if not isinstance(event, yaml.StreamEndEvent):
            self._refuse(event.start_mark.line + 1, "a second document begins here: a file holds one")
        return read

    def _value(self, event: Event) -> tuple[Any, Lines]:
        """The value that begins with `event`, and the lines of it."""
        kind = type(event)
        if kind is yaml.AliasEvent:
            return self._alias(event)
        if event.anchor is not None:
            return self._anchored(event)
        if event.tag is not None:
            self._problem(event, slips.TAG, at=event.start_mark.column + 1)
        if kind is yaml.ScalarEvent:
            return self._scalar(event), event.start_mark.line + 1
        self._weigh(event, 1, 0)
        return self._sequence(event) if kind is yaml.SequenceStartEvent else self._mapping(event)

    def _anchored(self, event: Event) -> tuple[Any, Lines]:
        """A value that aliases may stand for, from now on: inside itself the name means nothing."""
        name, event.anchor = event.anchor, None
        self._anchors.pop(name, None)
        values, characters, deepest = self._values, self._characters, self._deepest
        self._deepest = len(self._place)
        value, lines = self._value(event)
        depth = self._deepest - len(self._place)
        self._anchors[name] = _Anchored(value, lines, self._values - values, self._characters - characters, depth)
        self._deepest = max(self._deepest, deepest)
        return value, lines

    def _alias(self, event: Event) -> tuple[Any, Lines]:
        anchored = self._anchors.get(event.anchor)
        if anchored is None:
            nothing = f"nothing is called {event.anchor[:40]!r} before it"
            what = f"* begins an alias in YAML, and {nothing}: {slips.IN_QUOTES}"
            self._problem(event, what, at=event.start_mark.column + 1)
            return None, event.start_mark.line + 1
        self._weigh(event, anchored.values, anchored.characters)
        self._go_down(event, anchored.depth)
        return anchored.value, anchored.lines

    def _scalar(self, event: Event) -> Scalar:
        text: str = event.value
        self._weigh(event, 1, len(text))
        if event.style or event.tag is not None:
            return text
        value = plain_value(text)
        if value is None and self._place:
            what = "there is no value: give one here, or further in on the next line, or leave this out"
            self._problem(event, what)
        return value

    def _sequence(self, start: Event) -> tuple[list[Any], Lines]:
        items: list[Any] = []
        lines: list[Lines] = []
        self._enter(start)
        while type(event := self._next()) is not yaml.SequenceEndEvent:
            self._place[-1] = len(items)
            value, line = self._value(event)
            items.append(value)
            lines.append(line)
        self._place.pop()
        return items, Branch(start.start_mark.line + 1, lines)

    def _mapping(self, start: Event) -> tuple[dict[str, Any], Lines]:
        content: dict[str, Any] = {}
        lines: dict[str, Lines] = {}
        self._enter(start)
        while type(key := self._next()) is not yaml.MappingEndEvent:
            if not _is_text(key):
                self._odd_key(start, key, content)
                continue
            name, line = key.value, key.start_mark.line + 1
            self._place[-1] = name
            event = self._next()
            what = slips.of_key(name, has_value=not _is_nothing(event)) or (
                "this key stands twice: take one out" if name in content else None
            )
            if what is not None:
                self._problem(key, what, at=key.start_mark.column + 1)
                self._skip(event)
            else:
                self._weigh(key, 0, len(name))
                value, below = self._value(event)
                content[name] = value
                lines[name] = line if isinstance(below, int) else Branch(line, below.below)
            if len(content) > MAXIMUM_KEYS:
                self._refuse(line, f"a mapping with more than {MAXIMUM_KEYS} keys")
        self._place.pop()
        return content, Branch(start.start_mark.line + 1, lines)

    def _odd_key(self, start: Event, key: Event, before: dict[str, Any]) -> None:
        """A key that is no text, or the rest of a number with a comma in it: it is told, and passed over."""
        self._skip(key)
        event = self._next()
        may_be_a_rest = start.flow_style and _is_nothing(event) and isinstance(key, yaml.ScalarEvent)
        comma = slips.decimal_comma(before, key.value) if may_be_a_rest else None
        what = comma or "a key that is no text: put it in quotation marks"
        self._problem(key, what, place=tuple(self._place[:-1]), at=key.start_mark.column + 1)
        self._skip(event)

    def _skip(self, event: Event) -> None:
        """Pass over a value without looking at it."""
        depth = 0
        while True:
            depth += isinstance(event, yaml.CollectionStartEvent) - isinstance(event, yaml.CollectionEndEvent)
            if depth <= 0:
                return
            self._weigh(event, 1, 0)
            event = self._next()

    def _enter(self, start: Event) -> None:
        self._go_down(start, 1)
        self._place.append("")

    def _go_down(self, event: Event, levels: int) -> None:
        depth = len(self._place) + levels
        if depth > MAXIMUM_DEPTH:
            self._refuse(event.start_mark.line + 1, _TOO_DEEP)
        self._deepest = max(self._deepest, depth)

    def _weigh(self, event: Event, values: int, characters: int) -> None:
        self._values += values
        self._characters += characters
        if self._values > self._most_values:
            self._refuse(event.start_mark.line + 1, f"holds more than {self._most_values} values")
        if self._characters > MAXIMUM_TEXT:
            self._refuse(event.start_mark.line + 1, f"holds more than {MAXIMUM_TEXT} characters, aliases written out")

    def _problem(self, event: Event, what: str, *, place: Place | None = None, at: int = 0) -> None:
        """Something is wrong at `place`, where the reading stands if it is not given, in column `at` of its line."""
        key = key_of(tuple(self._place) if place is None else place)
        self._problems.append(self._told(event.start_mark.line + 1, key, what, at))
        if len(self._problems) > MOST_PROBLEMS:
            raise DocumentError(self._problems)

    def _told(self, line: int, key: str, what: str, column: int) -> Problem:
        return Problem(self._file, line, key, what, column, excerpt_of(self._lines, line) if column else "")

    def _refuse(self, line: int, what: str, column: int = 0) -> NoReturn:
        raise DocumentError([*self._problems, self._told(line, "", what, column)])


def _is_text(key: Event) -> bool:
    """Whether a key is text; as one, what is written without quotation marks must be no number or truth value."""
    if type(key) is not yaml.ScalarEvent or key.tag is not None:
        return False
    return bool(key.style) or isinstance(plain_value(key.value), str)


def _is_nothing(event: Event) -> bool:
    return isinstance(event, yaml.ScalarEvent) and not event.style and event.value == ""
