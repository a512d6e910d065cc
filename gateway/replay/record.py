"""What a capture holds: frames heard, each with the verdict that it got, and lines that could not be read."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from gateway.feed.heard_object import verdict_in
from gateway.frames.heard import Heard
from gateway.frames.plain import PlainFormError, PlainObject, from_object
from gateway.judge.verdict import Verdict

MAXIMUM_NAMED = 20
"""How many damaged lines are named; all are counted."""


@dataclass(frozen=True, slots=True)
class Record:
    """One frame of a capture."""

    heard: Heard
    recorded: Verdict | None = None
    """The verdict that the live gateway gave; None where the capture does not say."""


class DamagedLine(NamedTuple):
    """A line that holds no frame, and why."""

    capture: str
    line: int
    """Counted from 1; in a journal, which record."""

    because: str
    """In words of our own: never text from the capture."""

    def __str__(self) -> str:
        return f"{self.capture}:{self.line}: {self.because}"


@dataclass
class Reading:
    """How the reading of the captures went."""

    lines: int = 0
    damaged: int = 0
    damaged_because: Counter[str] = field(default_factory=Counter)
    damaged_lines: list[DamagedLine] = field(default_factory=list)
    """The first of the damaged lines."""

    other_topics: int = 0
    """Lines of a bus recording that came on a topic other than `heard`."""

    clock_set_back: int = 0
    """Time-stamped lines whose time is before that of the line above."""

    without_end: list[str] = field(default_factory=list)
    """The compressed captures that have no end: a gateway still writes them, or was stopped in the midst of it."""

    unreadable: list[str] = field(default_factory=list)
    """The captures that could not be read, or not to their ends, each with the reason."""

    def note_damage(self, capture: str, line: int, because: str) -> None:
        """Count a damaged line, and name it where not too many were named."""
        self.damaged += 1
        self.damaged_because[because] += 1
        if len(self.damaged_lines) < MAXIMUM_NAMED:
            self.damaged_lines.append(DamagedLine(capture, line, because))

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            **vars(self),
            "damaged_because": dict(self.damaged_because.most_common()),
            "damaged_lines": [line._asdict() for line in self.damaged_lines],
        }


def record_of(plain: Mapping[str, Any]) -> Record:
    """Read a heard object, with the verdict in it. Raises `PlainFormError`."""
    return Record(from_object(plain), verdict_in(plain))


def because_no_heard_object(error: PlainFormError) -> str:
    """Why a capture's object is none, in words of our own: what the object says stays out of them."""
    text = str(error)
    return "no heard object: a field says what it cannot" if text.startswith("not a heard object") else text
