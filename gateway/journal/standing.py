"""A journal's files while they are open: whether they stand in their place still, and nobody wrote over them.

SQLite notices neither: it goes on with what it has in memory, and with files that have no name any more.
"""

import contextlib
import sqlite3
from pathlib import Path

from gateway.journal.schema import APPLICATION_ID
from gateway.journal.trouble import code_of

_ENDINGS = ("", "-wal", "-shm")
"""Of the names of a journal, of its log, and of the index of its log."""


class Standing:
    """The files of one journal, as they stood when it was opened."""

    def __init__(self, path: Path) -> None:
        """The journal at `path` was just opened. Raises `sqlite3.Error`."""
        self.place = place_of(path)
        self._path = path
        self._places = _places_of(path)
        self._octets = _octets_of(path)
        self._first_mark = _mark_in(path)

    def is_in_place(self) -> bool:
        """Whether each of the files still stands under its name."""
        return self._places == _places_of(self._path)

    def is_overwritten(self) -> bool:
        """Whether another program wrote over the beginning of the journal, or cut its end off."""
        octets_before, self._octets = self._octets, _octets_of(self._path)
        try:
            mark = _mark_in(self._path)
        except sqlite3.Error as error:
            # It is shorter than its beginning says while a longer one is worked in, too: but then it has grown.
            is_cut_off = code_of(error) == sqlite3.SQLITE_CORRUPT and self._octets < octets_before
            return is_cut_off or code_of(error) == sqlite3.SQLITE_NOTADB
        # As long as a reader is in the way of a new journal's first pages, its mark stands in the log alone.
        return mark not in {APPLICATION_ID, self._first_mark} or not self._octets


def place_of(path: Path) -> tuple[int, int] | None:
    """Which file stands at `path`, whatever it holds; None: none that can be seen."""
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _places_of(path: Path) -> list[tuple[int, int] | None]:
    return [place_of(path.with_name(path.name + ending)) for ending in _ENDINGS]


def _octets_of(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def _mark_in(path: Path) -> int:
    """The mark of the program whose file it is (SQLite, "Database File Format", section 1.3.8), not looking at its log.

    Raises `sqlite3.Error` where it is no database, or not whole.

    SQLite is asked, and the file never opened by ourselves: closing it would give back the locks that this process
    has on it, and another program then takes the log away (SQLite, "How To Corrupt An SQLite Database File",
    section 2.2).
    """
    with contextlib.closing(sqlite3.connect(f"{path.absolute().as_uri()}?immutable=1", uri=True)) as connection:
        mark: int = connection.execute("PRAGMA application_id").fetchone()[0]
        return mark
