"""What went wrong with the disk, in words for the operator: why, and what to do."""

import contextlib
import errno
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

from gateway.groundwork.part import Trouble

_PRIMARY_CODE = 0xFF
"""The part of an extended result code of SQLite that says the kind."""


class JournalError(Exception):
    """Something cannot be written or read. What waits is kept, as far as there is room, and tried again."""

    def __init__(self, why: str, do: str) -> None:
        self.trouble = Trouble(why, do)
        super().__init__(str(self.trouble))


class JournalRefusedError(JournalError):
    """The file is no journal of ours, or a newer one: it is left as it is. Trying again helps only once it is gone."""


class JournalDamagedError(JournalError):
    """The file is damaged."""


@contextlib.contextmanager
def explained(path: Path) -> Iterator[None]:
    """Raises `JournalError` for what SQLite or the system says of the file at `path` in this block."""
    try:
        yield
    except (sqlite3.Error, UnicodeDecodeError) as error:
        raise explain_database(error, path) from None
    except OSError as error:
        raise explain_system(error, path) from None


def explain_database(error: sqlite3.Error | UnicodeDecodeError, path: Path) -> JournalError:
    """The trouble that SQLite's `error` about the journal at `path` tells of.

    What SQLite says of a damaged file may hold octets of it, and then cannot be made an error's text.
    """
    code = code_of(error)
    folder = path.parent
    if code in {sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB} or isinstance(error, UnicodeDecodeError):
        return JournalDamagedError(f"the journal {path} is damaged", "move it away: a new one is then begun")
    by_code = {
        sqlite3.SQLITE_FULL: (f"there is no room left for the journal {path}", f"make room on the disk of {folder}"),
        sqlite3.SQLITE_IOERR: (
            f"the disk fails the journal {path}",
            f"see whether the disk of {folder} is full or dying",
        ),
        sqlite3.SQLITE_CANTOPEN: (f"the journal {path} cannot be opened", f"see that {folder} is a folder to write to"),
        sqlite3.SQLITE_READONLY: (f"the journal {path} may not be written", f"see who may write it, and {folder}"),
        sqlite3.SQLITE_BUSY: (f"another program holds the journal {path} locked", "end that program"),
        sqlite3.SQLITE_INTERRUPT: (f"the journal {path} takes too long to read", "look at where it comes from"),
        sqlite3.SQLITE_LOCKED: (f"another program holds the journal {path} locked", "end that program"),
    }
    name = getattr(error, "sqlite_errorname", type(error).__name__)
    return JournalError(*by_code.get(code, (f"the journal {path} cannot be used: {name}", "look at the disk")))


def code_of(error: sqlite3.Error | UnicodeDecodeError) -> int:
    """Of which kind an error of SQLite is; 0 where it does not say."""
    return int(getattr(error, "sqlite_errorcode", 0)) & _PRIMARY_CODE


def explain_system(error: OSError, path: Path) -> JournalError:
    """The trouble that an `error` of the system about the file at `path` tells of."""
    if error.errno in {errno.ENOSPC, errno.EDQUOT, errno.EFBIG}:
        return JournalError(f"there is no room left for {path}", f"make room on the disk of {path.parent}")
    why = os.strerror(error.errno) if error.errno else "the disk fails"
    return JournalError(f"{path} cannot be used: {why}", f"see that {path.parent} is a folder to write to")
