"""Takes what was heard from the journal, a file of SQLite."""

from collections.abc import Iterator
from pathlib import Path

from gateway.replay.record import Reading, Record

SQLITE_MARK = b"SQLite format 3\0"
"""How such a file begins (SQLite database file format, section 1.3)."""


class JournalError(Exception):
    """A journal cannot be read; the message says why."""


def records_of(path: Path, reading: Reading) -> Iterator[Record]:
    """All that the journal heard, in its order. Raises `JournalError`."""
    raise JournalError("TODO")
