"""Reads captures: each line is told by its content, so that they may be of several kinds, and mixed.

- heard objects, one a line, as the bus publishes them and as captures hold them; with the topic before them or without
- what the judge remembered when a run began, which captures and the journal hold before its first frame
- time-stamped lines of TNC-2 text (see `timed_lines`)
- the journal: a file of SQLite

Each may be compressed with gzip or zstd, but for the journal. No more than a few lines are held at a time.
"""

import io
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from gateway.frames.capture import BEGAN_WITH, BadLine, CaptureLine, read_object
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.groundwork.expanding import CompressionError, CutOffError
from gateway.journal.reading import read_heard, read_lines
from gateway.journal.trouble import JournalError
from gateway.replay.beginnings import Beginnings
from gateway.replay.record import Reading, Record, because_no_heard_object, record_of
from gateway.replay.timed_lines import TimedLineError, TimedLines

STANDARD_INPUT = Path("-")

_SQLITE_MARK = b"SQLite format 3\0"
"""How a journal begins (SQLite's database file format, section 1.3.1)."""

_TOPIC = re.compile(rb"[^\s{]*/[^\s{]*\Z")


class UnreadableLineError(ValueError):
    """A line holds no frame; the message says why, in words of our own."""


class OtherTopicError(ValueError):
    """A line of a bus recording is about something other than what was heard."""


class Captures:
    """The frames of some captures, one capture after the other. Can be gone through once; `reading` says how it went.

    A capture that cannot be read, or not to its end, is said in `reading`; the others are read nevertheless.
    """

    def __init__(
        self, paths: Sequence[Path], *, on_beginning: Callable[[PlainObject], object] = lambda _plain: None
    ) -> None:
        """`on_beginning` is told of each line that says with what a run began, in its place among the frames."""
        self.reading = Reading()
        self.beginnings = Beginnings()
        """With what the runs began whose frames are being read."""

        self._on_beginning = on_beginning

        self._paths = paths
        self._timed = TimedLines()
        self._sizes = [size_of(path) for path in paths]
        self._octets_done = 0
        self._open: io.BufferedReader | None = None

    def __iter__(self) -> Iterator[Record]:
        for path, size in zip(self._paths, self._sizes, strict=True):
            try:
                yield from self._records_of(path)
            except (OSError, CompressionError, JournalError) as error:
                self.reading.unreadable.append(f"{path}: {_because(error)}")
            self._octets_done += size or 0

    def part_read(self) -> float | None:
        """How much has been read, from 0 to 1; None where that cannot be told."""
        total = sum(size or 0 for size in self._sizes)
        if not total or None in self._sizes:
            return None
        here = self._open.tell() if self._open is not None else 0
        return min((self._octets_done + here) / total, 1.0)

    def _records_of(self, path: Path) -> Iterator[Record]:
        with _opened(path) as stream:
            if stream.peek(len(_SQLITE_MARK)).startswith(_SQLITE_MARK):
                yield from self._records_in(read_heard(path), str(path))
                return
            self._open = stream
            try:
                yield from self._records_in(self._lines_of(stream, str(path)), str(path))
            finally:
                self._open = None

    def _lines_of(self, stream: io.BufferedReader, capture: str) -> Iterator[CaptureLine | BadLine]:
        try:
            yield from read_lines(stream)
        except CutOffError:
            self.reading.without_end.append(capture)

    def _records_in(self, lines: Iterator[CaptureLine | BadLine], capture: str) -> Iterator[Record]:
        reading, timed, record_in = self.reading, self._timed, self._record_in
        for line in lines:
            reading.lines += 1
            if isinstance(line, BadLine):
                reading.note_damage(capture, line.number, line.because)
                continue
            try:
                record = record_in(line.octets)
            except UnreadableLineError as error:
                reading.note_damage(capture, line.number, str(error))
            except OtherTopicError:
                reading.other_topics += 1
            else:
                if record is not None:
                    yield record
        reading.clock_set_back = timed.clock_set_back

    def _record_in(self, line: bytes) -> Record | None:
        """The frame that `line` holds; None where it says with what a run began.

        Raises `UnreadableLineError`, `OtherTopicError`.
        """
        if line.startswith(b"{"):
            return self._record_in_object(line)
        try:
            heard = self._timed.read(line)
        except TimedLineError as error:
            raise UnreadableLineError(str(error)) from None
        if heard is not None:
            return Record(heard)
        topic, _, payload = line.partition(b" ")
        if _TOPIC.match(topic) is None:
            raise UnreadableLineError("neither a heard object nor a line with its time before it")
        if not topic.endswith(b"/heard") or topic.endswith(b"/stations/heard"):
            raise OtherTopicError
        return self._record_in_object(payload)

    def _record_in_object(self, text: bytes) -> Record | None:
        try:
            plain = read_object(text)
            if BEGAN_WITH in plain:
                self.beginnings.take(plain)
                self._on_beginning(plain)
                return None
            return record_of(plain)
        except PlainFormError as error:
            raise UnreadableLineError(because_no_heard_object(error)) from None


@contextmanager
def _opened(path: Path) -> Iterator[io.BufferedReader]:
    if path == STANDARD_INPUT:
        yield sys.stdin.buffer  # type: ignore[misc]  # a process's standard input is a buffered reader
        return
    with path.open("rb") as stream:
        yield stream


def size_of(path: Path) -> int | None:
    """Octets of the file; None where it is no plain one. What cannot be opened takes no time."""
    if path == STANDARD_INPUT:
        return None
    try:
        return path.stat().st_size if path.is_file() else None
    except OSError:
        return 0


def _because(error: Exception) -> str:
    if isinstance(error, IsADirectoryError):
        return "it is a folder; name the files in it"
    return error.strerror or str(error) if isinstance(error, OSError) else str(error)
