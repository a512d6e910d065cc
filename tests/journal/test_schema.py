"""Migrations: from every older version, wholly or not at all, and nothing that is not ours is touched."""

import contextlib
import re
import sqlite3
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from importlib import resources
from pathlib import Path
from threading import Barrier

import pytest

from gateway.journal import schema
from gateway.journal.trouble import JournalRefusedError
from tests.journal.keeping import batch_of, frames, heard_in, rows_in, store_at

STEPS = (
    "CREATE TABLE one (number INTEGER);\n-- a comment; with a semicolon\nINSERT INTO one VALUES (1);",
    "ALTER TABLE one ADD COLUMN text TEXT;\nUPDATE one SET text = 'first';",
    "CREATE TABLE two (number INTEGER);",
)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


@contextlib.contextmanager
def opened(path: Path) -> Iterator[sqlite3.Connection]:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None, timeout=20)) as connection:
        yield connection


def dump(path: Path) -> list[str]:
    with opened(path) as connection:
        return list(connection.iterdump())


@pytest.mark.parametrize("older", range(len(schema.migrations()) + 1))
def test_a_journal_of_every_older_version_is_brought_up_to_date(path: Path, older: int) -> None:
    with opened(path) as connection:
        schema.migrate(connection, path, schema.migrations()[:older])
        assert schema.version(connection) == older
        schema.migrate(connection, path)
        assert schema.version(connection) == len(schema.migrations())
    store = store_at(path)
    store.write(batch_of(frames(3)))
    store.close()
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3)]


@pytest.mark.parametrize("older", range(len(STEPS) + 1))
def test_it_makes_no_difference_how_many_steps_were_taken_before(path: Path, tmp_path: Path, older: int) -> None:
    with opened(path) as connection:
        schema.migrate(connection, path, STEPS[:older])
        schema.migrate(connection, path, STEPS)
    with opened(tmp_path / "at-once.db") as connection:
        schema.migrate(connection, tmp_path / "at-once.db", STEPS)
    assert dump(path) == dump(tmp_path / "at-once.db")
    assert rows_in(path, "SELECT number, text FROM one") == [(1, "first")]


def test_a_step_that_fails_leaves_nothing_of_itself(path: Path) -> None:
    with opened(path) as connection:
        with pytest.raises(sqlite3.OperationalError):
            schema.migrate(connection, path, (STEPS[0], "CREATE TABLE two (number);\nNO SQL;", STEPS[2]))
        assert schema.version(connection) == 1
        schema.migrate(connection, path, STEPS)
        assert schema.version(connection) == 3


def test_two_that_start_at_once_take_each_step_once(path: Path) -> None:
    start = Barrier(2)

    def migrate() -> int:
        with opened(path) as connection:
            start.wait()
            schema.migrate(connection, path, STEPS)
            return schema.version(connection)

    with ThreadPoolExecutor(2) as threads:
        both = [threads.submit(migrate) for _ in range(2)]
        assert [each.result() for each in both] == [3, 3]
    assert rows_in(path, "SELECT count(*) FROM one") == [(1,)]


def test_a_journal_of_a_newer_version_is_refused_as_it_is(path: Path) -> None:
    known = len(schema.migrations())
    with opened(path) as connection:
        schema.migrate(connection, path, (*schema.migrations(), "CREATE TABLE future (number);"))
    before = path.read_bytes()
    with opened(path) as connection, pytest.raises(JournalRefusedError) as error:
        schema.migrate(connection, path)
    assert str(error.value) == (
        f"{path} is a journal of version {known + 1}, and this Stile knows versions up to {known};"
        " install the newer Stile again, or name another file as the journal"
    )
    assert path.read_bytes() == before


@pytest.mark.parametrize("number", [0, 1])
def test_a_database_of_another_program_is_refused_as_it_is(path: Path, number: int) -> None:
    with opened(path) as connection:
        connection.execute("CREATE TABLE recipes (name)")
        connection.execute(f"PRAGMA user_version = {number}")
    before = path.read_bytes()
    with opened(path) as connection, pytest.raises(JournalRefusedError, match="database of another program"):
        schema.migrate(connection, path)
    assert path.read_bytes() == before


def test_an_sqlite_that_is_too_old_is_named(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sqlite3, "sqlite_version_info", (3, 30, 1))
    with opened(path) as connection, pytest.raises(JournalRefusedError, match=r"the journal needs 3\.31\.0"):
        schema.migrate(connection, path)


def test_a_reader_takes_every_older_version_but_no_empty_file(path: Path) -> None:
    with opened(path) as connection:
        with pytest.raises(JournalRefusedError, match="is empty"):
            schema.require_readable(connection, path)
        for older in range(1, len(schema.migrations()) + 1):
            schema.migrate(connection, path, schema.migrations()[:older])
            schema.require_readable(connection, path)


def test_the_steps_in_the_package_are_numbered_without_a_gap() -> None:
    names = sorted(entry.name for entry in resources.files("gateway.journal").joinpath("migrations").iterdir())
    assert [int(name[:4]) for name in names] == list(range(1, len(names) + 1))
    assert all(re.fullmatch(r"\d{4}_[a-z_]+\.sql", name) for name in names)
    assert len(schema.migrations()) == len(names)


def test_frames_of_one_source_are_looked_up_in_every_stretch_of_them(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(300)))
    store.close()
    plan = rows_in(path, "EXPLAIN QUERY PLAN SELECT object FROM heard WHERE source = 'QA1BCD-9'")
    assert "ANY(<expr>) AND source=?" in plan[0][-1]
    sources = rows_in(path, "SELECT count(*) FROM heard WHERE source = 'QA1BCD-9'")
    assert sources == [(20,)]
