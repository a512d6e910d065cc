"""The shape of the journal's file: numbered migrations, carried in the package, each applied once and whole."""

import sqlite3
from collections.abc import Iterator, Sequence
from importlib import resources
from pathlib import Path

from gateway.journal.trouble import JournalRefusedError

APPLICATION_ID = 0x5374696C
"""Marks the file as a journal of Stile (SQLite's database file format, section 1.3.8)."""

OLDEST_SQLITE = (3, 31, 0)
"""The first with generated columns."""

HIGHEST_ROW_ID = 2**63 - 1

SEQUENCE_BITS = 40
"""Of a row's id: enough for a hundred thousand frames a second through four months of one run."""


def migrations() -> tuple[str, ...]:
    """The SQL of each version, in order. The file's version is the number of those that were applied to it."""
    folder = resources.files("gateway.journal").joinpath("migrations")
    texts = {entry.name: entry.read_text("utf-8") for entry in folder.iterdir() if entry.name.endswith(".sql")}
    return tuple(texts[name] for name in sorted(texts))


def version(connection: sqlite3.Connection) -> int:
    """The version of the file that is open."""
    number: int = connection.execute("PRAGMA user_version").fetchone()[0]
    return number


def migrate(connection: sqlite3.Connection, path: Path, steps: Sequence[str] | None = None) -> None:
    """Bring the file up to date: each step in a transaction of its own, wholly or not at all.

    Raises `JournalRefusedError` where it is none of ours, or newer than `steps`, and `sqlite3.Error`.
    """
    steps = migrations() if steps is None else steps
    require_ours(connection, path, len(steps))
    for number in range(version(connection) + 1, len(steps) + 1):
        connection.execute("BEGIN IMMEDIATE")
        try:
            if version(connection) < number:  # nobody else was faster
                for statement in _statements(steps[number - 1]):
                    connection.execute(statement)
                connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
                connection.execute(f"PRAGMA user_version = {number}")
            connection.execute("COMMIT")
        except BaseException:
            if connection.in_transaction:
                connection.execute("ROLLBACK")
            raise


def require_readable(connection: sqlite3.Connection, path: Path) -> None:
    """See that the file is a journal, of this version or an older one. Raises `JournalRefusedError`."""
    require_ours(connection, path)
    if not version(connection):
        raise JournalRefusedError(f"{path} is empty", "name a journal in which something was kept")


def require_ours(connection: sqlite3.Connection, path: Path, latest: int | None = None) -> None:
    """See that the file is new, or a journal of no later version than `known`. Raises `JournalRefusedError`."""
    latest = len(migrations()) if latest is None else latest
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        needed = ".".join(map(str, OLDEST_SQLITE))
        why = f"this Python uses SQLite {sqlite3.sqlite_version}, and the journal needs {needed}"
        raise JournalRefusedError(why, "use a Python that was built with a newer one")
    # In this order: another start that makes the first table marks the file in the same transaction.
    is_new = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0
    mark: int = connection.execute("PRAGMA application_id").fetchone()[0]
    if mark != APPLICATION_ID and not is_new:
        raise JournalRefusedError(f"{path} is a database of another program", "name another file as the journal")
    written_version = version(connection)
    if written_version > latest:
        why = f"{path} is a journal of version {written_version}, and this Stile knows versions up to {latest}"
        raise JournalRefusedError(why, "install the newer Stile again, or name another file as the journal")


def _statements(text: str) -> Iterator[str]:
    statement = ""
    for line in text.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
    if statement.strip():
        yield statement
