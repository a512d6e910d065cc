"""The lines of a capture, each numbered, the hostile ones named and passed over. No I/O."""

import json
from collections.abc import Iterator
from typing import NamedTuple

from pydantic_core import from_json

from gateway.frames.delimited import DelimitedStream
from gateway.frames.heard import Heard
from gateway.frames.plain import PlainFormError, PlainObject, from_object

MAXIMUM_LINE_OCTETS = 64 * 1024
"""The longest line that is taken for a heard object: many times the longest that one can be."""


BEGAN_WITH = "began_with"
"""The field that tells a line about the beginning of a run from a heard object: what the judge remembered then."""


class CaptureLine(NamedTuple):
    """One line, without its end."""

    number: int
    """Counted from 1, empty lines too: as an editor shows it."""

    octets: bytes


class BadLine(NamedTuple):
    """A line that was passed over."""

    number: int
    because: str
    """In words of our own: never text from the capture."""


class CaptureLines:
    """Takes the bytes of one capture as they come and gives back its lines.

    A line ends with LF, or CR LF; empty ones are left out. Any split of the bytes gives the same. No more than a few
    lines are kept between calls, whatever comes.
    """

    def __init__(self) -> None:
        self._stream = DelimitedStream(b"\n", MAXIMUM_LINE_OCTETS, starts_delimited=True, keeps_empty=True)
        self._number = 0

    def feed(self, data: bytes) -> Iterator[CaptureLine | BadLine]:
        """Take `data`; yield the lines that are now complete."""
        for octets in self._stream.feed(data):
            self._number += 1
            if len(octets) > MAXIMUM_LINE_OCTETS:
                yield BadLine(self._number, f"the line is longer than {MAXIMUM_LINE_OCTETS} octets")
            elif octets and not octets.isspace():
                yield CaptureLine(self._number, octets.removesuffix(b"\r"))

    def end(self) -> Iterator[CaptureLine | BadLine]:
        """The capture is at its end: yield what is left. The last line needs no end."""
        return self.feed(b"\n")


def read_object(line: bytes) -> PlainObject:
    """The object that stands in a line as JSON. Raises `PlainFormError`."""
    try:
        plain = from_json(line)  # twice as fast; what it refuses, as half of a surrogate pair, the slower one may read
    except ValueError:
        try:
            plain = json.loads(line)
        except (ValueError, RecursionError):  # nested a thousand deep, no line is a heard object
            raise PlainFormError("no JSON") from None
    if not isinstance(plain, dict):
        raise PlainFormError("JSON, but no object")
    return plain


def read_heard(line: bytes) -> Heard | None:
    """What was heard, from the heard object in a line; None: it tells how a run began. Raises `PlainFormError`."""
    plain = read_object(line)
    return None if BEGAN_WITH in plain else from_object(plain)
