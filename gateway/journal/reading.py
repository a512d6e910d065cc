"""Reading what was kept: the journal's heard objects in their order, and the lines of captures. Memory is bounded."""

import contextlib
import io
import json
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from gateway.expanding import expanded
from gateway.frames.capture import BadLine, CaptureLines, Line
from gateway.frames.plain import PlainObject
from gateway.journal import schema
from gateway.journal.trouble import JournalError, explain_database

ROWS_AT_A_TIME = 500
"""A read ends before the next one begins: one that lasted would keep the writer's log from being worked in."""

_BUSY_SECONDS = 5.0


def read_heard(path: Path, since_ms: int | None = None, until_ms: int | None = None) -> Iterator[PlainObject]:
    """The heard objects in the journal at `path`, by run and sequence.

    Only those whose time is at or after `since_ms` and before `until_ms`, in Unix milliseconds, and that are there when
    the reading begins; the gateway may write meanwhile. Raises `JournalError`.
    """
    since_ms = -(2**63) if since_ms is None else since_ms
    until_ms = 2**63 - 1 if until_ms is None else until_ms
    try:
        with contextlib.closing(_open(path)) as journal:
            schema.require_readable(journal, path)
            for text in _texts(journal, since_ms, until_ms):
                yield _object(text, path)
    except sqlite3.Error as error:
        raise explain_database(error, path) from None


def read_lines(capture: io.BufferedIOBase) -> Iterator[Line | BadLine]:
    """The lines of a capture, plain or compressed with gzip or zstd, from a file opened for reading bytes.

    Raises `OSError`, and `CompressionError` as `expanded` does.
    """
    lines = CaptureLines()
    for piece in expanded(capture):
        yield from lines.feed(piece)
    yield from lines.end()


def _open(path: Path) -> sqlite3.Connection:
    if not path.exists():
        raise JournalError(f"there is no journal at {path}", "name the file that the station file names")
    address = f"{path.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(address, uri=True, timeout=_BUSY_SECONDS, isolation_level=None)


def _texts(journal: sqlite3.Connection, since_ms: int, until_ms: int) -> Iterator[str]:
    """Row by row in the order of ids. The index by time only says where they lie: a clock may have been set back."""
    ends = "SELECT min(id), max(id) FROM heard WHERE time_ms >= ? AND time_ms < ?"
    next_id, last_id = journal.execute(ends, (since_ms, until_ms)).fetchone()
    # The + keeps SQLite from going by time.
    select = (
        "SELECT id, object FROM heard WHERE id BETWEEN ? AND ? AND +time_ms >= ? AND +time_ms < ? ORDER BY id LIMIT ?"
    )
    while next_id is not None:
        rows = journal.execute(select, (next_id, last_id, since_ms, until_ms, ROWS_AT_A_TIME)).fetchall()
        for _, text in rows:
            yield text
        next_id = rows[-1][0] + 1 if rows else None


def _object(text: str, path: Path) -> PlainObject:
    try:
        plain = json.loads(text)
    except ValueError:
        plain = None
    if not isinstance(plain, dict):
        raise JournalError(f"the journal {path} is damaged", "read it up to here, or move it away")
    return plain
