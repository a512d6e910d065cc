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
        """The journal at `path` was just opened."""
        self.place = place_of(path)
        self._path = path
        self._places = _places_of(path)
        self._octets = _octets_of(path)
        self._marks = {APPLICATION_ID}
        with contextlib.suppress(sqlite3.Error):  # a reader may be in the way of a new one's first pages, with its mark
            self._marks.add(_mark_in(path))
        self._was_sound = self._is_sound(self._octets)

    def is_in_place(self) -> bool:
        """Whether each of the files still stands under its name."""
        return self._places == _places_of(self._path)

    def is_overwritten(self) -> bool:
        """Whether another program wrote over the beginning of the journal, or cut its end off.

        Where its beginning was spoiled when it was opened, as a loss of power may leave it, what belongs there stands
        in the log: then this is known only once it was worked in.
        """
        octets_before, self._octets = self._octets, _octets_of(self._path)
        was_sound, self._was_sound = self._was_sound, self._is_sound(octets_before)
        return was_sound and not self._was_sound

    def _is_sound(self, octets_before: int) -> bool:
        try:
            return self._octets > 0 and _mark_in(self._path) in self._marks
        except sqlite3.Error as error:
            if code_of(error) == sqlite3.SQLITE_CORRUPT:
                # It is shorter than its beginning says: the rest stands in the log, unless there was more of it.
                return self._octets >= octets_before
            return code_of(error) != sqlite3.SQLITE_NOTADB


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
