"""Reading what was kept: the journal's heard objects in their order, and the lines of captures. Memory is bounded.

A journal may come from a stranger. SQLite then is told to trust nothing in it and to stop at small bounds; only a plain
table is read, row by row in the order of ids, by no index; and rows that are damaged are passed over.
"""

import contextlib
import sqlite3
import stat
import time
from collections.abc import Iterator
from io import BufferedIOBase
from pathlib import Path

from gateway.frames.capture import MAXIMUM_LINE_OCTETS, BadLine, CaptureLine, CaptureLines
from gateway.groundwork.expanding import expanded
from gateway.groundwork.private_files import mode_at
from gateway.journal import schema
from gateway.journal.capture import began_with
from gateway.journal.trouble import (
    JournalDamagedError,
    JournalError,
    JournalRefusedError,
    explain_database,
    explain_system,
    explained,
)

ROWS_AT_A_TIME = 500
"""A read ends before the next one begins: one that lasted would keep the writer's log from being worked in."""

OCTETS_AT_A_TIME = 1024 * 1024

LONGEST_STATEMENT_SECONDS = 10.0
"""Reading so few rows takes milliseconds: what takes longer was made to."""

MAXIMUM_DAMAGES = 1000
"""Damaged places of one journal; past them the rest is not read."""

MAXIMUM_PIECES = 1200
"""Of what a run began with: somewhat more than the fullest memory of a judge has."""

_BUSY_SECONDS = 5.0
_OPERATIONS_BETWEEN_LOOKS = 10_000
_LOWEST_ID = -(2**63)

_LIMITS = {
    sqlite3.SQLITE_LIMIT_LENGTH: 4 * MAXIMUM_LINE_OCTETS,
    sqlite3.SQLITE_LIMIT_SQL_LENGTH: MAXIMUM_LINE_OCTETS,
    sqlite3.SQLITE_LIMIT_COLUMN: 100,
    sqlite3.SQLITE_LIMIT_EXPR_DEPTH: 20,
    sqlite3.SQLITE_LIMIT_COMPOUND_SELECT: 3,
    sqlite3.SQLITE_LIMIT_VDBE_OP: 25_000,
    sqlite3.SQLITE_LIMIT_FUNCTION_ARG: 8,
    sqlite3.SQLITE_LIMIT_ATTACHED: 0,
    sqlite3.SQLITE_LIMIT_LIKE_PATTERN_LENGTH: 50,
    sqlite3.SQLITE_LIMIT_VARIABLE_NUMBER: 10,
    sqlite3.SQLITE_LIMIT_TRIGGER_DEPTH: 10,
}
"""As SQLite advises for files of strangers ("Defense Against The Dark Arts", section 1.2)."""

_PRECAUTIONS = (
    "PRAGMA trusted_schema = OFF",
    "PRAGMA cell_size_check = ON",
    "PRAGMA mmap_size = 0",
    "PRAGMA query_only = ON",
)

_PASSED_OVER = frozenset({sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_TOOBIG, sqlite3.SQLITE_IOERR_CORRUPTFS})


def read_heard(path: Path, *, since_ms: int | None = None) -> Iterator[CaptureLine | BadLine]:
    """The heard objects in the journal at `path`, by run and sequence, as a capture has them, one a line.

    `since_ms`: from the first that was heard then or later, in Unix milliseconds; for a journal of one's own.

    Those that are there when the reading begins; the gateway may write meanwhile. Raises `JournalError`.
    """
    with _opened(path) as journal:
        patience = ReadingPatience(journal)
        if not is_plain(journal, "heard", object="TEXT"):
            raise JournalRefusedError(f"{path} is no journal as the gateway writes one", "name another file")
        first_id = _LOWEST_ID if since_ms is None else _first_since(journal, since_ms)
        yield from _HeardRows(journal, path, patience).lines(first_id)


def latest_heard(path: Path, most: int) -> list[bytes]:
    """The JSON of the last `most` frames in the journal at `path`, newest first. Raises `JournalError`."""
    with _opened(path) as journal:
        if not is_plain(journal, "heard", object="TEXT"):
            return []
        rows = journal.execute("SELECT object FROM main.heard ORDER BY id DESC LIMIT ?", (most,))
        return [row for (row,) in rows if isinstance(row, bytes) and len(row) <= MAXIMUM_LINE_OCTETS]


def trouble_with(path: Path) -> JournalError | None:
    """What the gateway would find wrong with the file at `path` as its journal, of what can be told without writing.

    `JournalRefusedError` keeps it from starting, others do not.
    """
    try:
        mode = mode_at(path)
        if not mode or stat.S_ISDIR(mode):  # with a folder there it starts, and says that nothing is remembered
            return None
        with contextlib.closing(open_to_read(path)) as journal:
            schema.require_ours(journal, path)
    except OSError as error:
        return explain_system(error, path)
    except JournalRefusedError as refused:
        return refused
    except sqlite3.Error as error:
        trouble = explain_database(error, path)
        return trouble if isinstance(trouble, JournalDamagedError) else None
    return None


def read_lines(capture: BufferedIOBase) -> Iterator[CaptureLine | BadLine]:
    """The lines of a capture, plain or compressed with gzip or zstd, from a file opened for reading bytes.

    Raises `OSError`, and `CompressionError` as `expanded` does.
    """
    lines = CaptureLines()
    for data in expanded(capture):
        yield from lines.feed(data)
    yield from lines.end()


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    with explained(path), contextlib.closing(open_to_read(path)) as journal:
        schema.require_readable(journal, path)
        yield journal


def open_to_read(path: Path) -> sqlite3.Connection:
    """A connection to the journal at `path` that can only read. Raises `JournalError`, `sqlite3.Error`, `OSError`."""
    mode = mode_at(path)
    if not mode:
        raise JournalError(f"there is no journal at {path}", "name the file that the station file names")
    if stat.S_ISDIR(mode):
        raise JournalError(f"{path} is a folder", "name a file in it")
    if not stat.S_ISREG(mode):  # a pipe would be waited for without end
        raise JournalRefusedError(f"{path} is no file", "name another one as the journal")
    address = f"{path.absolute().as_uri()}?mode=ro"
    journal = sqlite3.connect(address, uri=True, timeout=_BUSY_SECONDS, isolation_level=None)
    journal.text_factory = bytes
    for limit, most in _LIMITS.items():
        journal.setlimit(limit, most)
    for precaution in _PRECAUTIONS:
        journal.execute(precaution).fetchall()
    return journal


def is_plain(journal: sqlite3.Connection, table: str, **columns: str) -> bool:
    """Whether it is a table of rows that has these columns, and nothing that computes them or hides the rows' ids."""
    tables = journal.execute("SELECT type, rootpage FROM main.sqlite_master WHERE name = ?", (table,)).fetchall()
    if [(kind, bool(page)) for kind, page in tables] != [(b"table", True)]:  # a virtual table has no page
        return False
    columns_found = journal.execute("SELECT name, type, hidden FROM pragma_table_xinfo(?)", (table,)).fetchall()
    plain = {(name, kind.upper()) for name, kind, hidden in columns_found if not hidden}
    names = {name.lower() for name, _, _ in columns_found}
    return b"rowid" not in names and plain >= {(name.encode(), kind.encode()) for name, kind in columns.items()}


def _first_since(journal: sqlite3.Connection, since_ms: int) -> int:
    """The id of the first frame that was heard then or later; the highest where none was."""
    (first_id,) = journal.execute("SELECT min(id) FROM main.heard WHERE time_ms >= ?", (since_ms,)).fetchone()
    return first_id if isinstance(first_id, int) else schema.HIGHEST_ROW_ID


class ReadingPatience:
    """Ends a statement that takes too long."""

    def __init__(self, journal: sqlite3.Connection) -> None:
        self.renew()
        journal.set_progress_handler(self._is_over, _OPERATIONS_BETWEEN_LOOKS)

    def renew(self) -> None:
        """Another statement begins."""
        self._until = time.monotonic() + LONGEST_STATEMENT_SECONDS

    def _is_over(self) -> bool:
        return time.monotonic() > self._until


class _HeardRows:
    """The rows of `heard`, a stretch at a time."""

    def __init__(self, journal: sqlite3.Connection, path: Path, patience: ReadingPatience) -> None:
        self._journal = journal
        self._path = path
        self._patience = patience
        self._number = 0
        self._damages = 0
        self._has_beginnings = is_plain(
            journal, "beginnings", run="INTEGER", number="INTEGER", value="TEXT"
        ) and is_plain(journal, "runs", id="INTEGER", identity="TEXT")

    def lines(self, first_id: int) -> Iterator[CaptureLine | BadLine]:
        last_id = self._last_id()
        next_id: int | None = first_id
        limit = ROWS_AT_A_TIME
        run: int | None = None
        while next_id is not None and next_id <= last_id:
            rows, is_damaged = self._stretch(next_id, last_id, limit)
            for number, text in rows:
                if number >> schema.SEQUENCE_BITS != run:
                    run = number >> schema.SEQUENCE_BITS
                    yield from self._beginning(run)
                self._number += 1
                yield self._line(text)
                next_id = number + 1
            if is_damaged and limit > 1:
                limit = 1  # row by row up to the damage: the one before it was lost with it
            elif is_damaged:
                self._number += 1
                yield BadLine(self._number, "the journal is damaged here")
                next_id = self._after_damage(next_id, last_id)
                limit = ROWS_AT_A_TIME
            elif not rows:
                return

    def _last_id(self) -> int:
        """What comes later is not read: a gateway may write faster than someone reads."""
        try:
            last_id = self._journal.execute("SELECT max(rowid) FROM main.heard NOT INDEXED").fetchone()[0]
        except sqlite3.DatabaseError as error:
            if not _is_passed_over(error):
                raise
            return schema.HIGHEST_ROW_ID
        return last_id if isinstance(last_id, int) else _LOWEST_ID

    def _stretch(self, first_id: int, last_id: int, limit: int) -> tuple[list[tuple[int, object]], bool]:
        """Some rows from an id on, and whether damage keeps the next one from being read."""
        rows: list[tuple[int, object]] = []
        octets = 0
        select = "SELECT rowid, object FROM main.heard NOT INDEXED WHERE rowid BETWEEN ? AND ? ORDER BY rowid LIMIT ?"
        self._patience.renew()
        try:
            with contextlib.closing(self._journal.execute(select, (first_id, last_id, limit))) as cursor:
                for number, text in cursor:
                    if not (isinstance(number, int) and number >= first_id):
                        raise JournalDamagedError(f"the rows of {self._path} are out of order", "read it up to here")
                    first_id = number + 1
                    rows.append((number, text))
                    octets += len(text) if isinstance(text, bytes) else 0
                    if octets >= OCTETS_AT_A_TIME:
                        break
        except sqlite3.Error as error:
            if not _is_passed_over(error):
                raise
            return rows, True
        return rows, False

    def _after_damage(self, first_id: int, last_id: int) -> int | None:
        """The id at which it can be read again, at or after `first_id`; None: nowhere."""
        self._damages += 1
        if self._damages > MAXIMUM_DAMAGES:
            raise JournalDamagedError(f"the journal {self._path} is damaged in too many places", "read it up to here")
        step = 1
        while first_id + step <= last_id:
            rows, is_damaged = self._stretch(first_id + step, last_id, 1)
            if rows:
                return rows[0][0]
            if not is_damaged:
                return None
            step *= 2
        return None

    def _beginning(self, run: int) -> Iterator[CaptureLine | BadLine]:
        """With what a run began, where the journal says so."""
        if not self._has_beginnings:
            return
        select = (
            "SELECT runs.identity, beginnings.value FROM main.beginnings JOIN main.runs ON runs.id = beginnings.run"
            " WHERE beginnings.run = ? AND beginnings.number = ?"
        )
        for number in range(MAXIMUM_PIECES):
            self._patience.renew()
            try:
                row = self._journal.execute(select, (run, number)).fetchone()
            except sqlite3.DatabaseError as error:
                if not _is_passed_over(error):
                    raise
                row = (None, None)
            if row is None:
                return
            self._number += 1
            identity, piece = row
            if isinstance(identity, bytes) and isinstance(piece, bytes):
                yield self._line(began_with(identity.decode("utf-8", "replace"), piece))
            else:
                yield BadLine(self._number, "what the run began with is damaged")

    def _line(self, text: object) -> CaptureLine | BadLine:
        if not isinstance(text, bytes):
            return BadLine(self._number, "the row holds no text")
        if len(text) > MAXIMUM_LINE_OCTETS:
            return BadLine(self._number, f"the row is longer than {MAXIMUM_LINE_OCTETS} octets")
        return CaptureLine(self._number, text)


def _is_passed_over(error: sqlite3.Error) -> bool:
    code = getattr(error, "sqlite_errorcode", 0)
    return code in _PASSED_OVER or code & 0xFF in _PASSED_OVER
