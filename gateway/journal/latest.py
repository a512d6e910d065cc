"""The last heard objects of a journal, newest first: for whoever wants to know how it stood lately. Read only."""

import contextlib
import sqlite3
from pathlib import Path

from gateway.frames.capture import MAXIMUM_LINE_OCTETS
from gateway.journal import schema
from gateway.journal.reading import is_plain, open_to_read
from gateway.journal.trouble import explain_database


def latest_heard(path: Path, most: int) -> list[bytes]:
    """The JSON of the last `most` frames in the journal at `path`, newest first. Raises `JournalError`."""
    try:
        with contextlib.closing(open_to_read(path)) as journal:
            schema.require_readable(journal, path)
            if not is_plain(journal, "heard", object="TEXT"):
                return []
            rows = journal.execute("SELECT object FROM main.heard ORDER BY id DESC LIMIT ?", (most,))
            return [row for (row,) in rows if isinstance(row, bytes) and len(row) <= MAXIMUM_LINE_OCTETS]
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise explain_database(error, path) from None
