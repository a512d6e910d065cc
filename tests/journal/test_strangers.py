"""A journal from a stranger: whatever is in it, it is read in bounded memory and time, or refused in a sentence."""

import contextlib
import os
import sqlite3
import time
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.frames.capture import BadLine, CaptureLine, read_object
from gateway.journal import reading, schema
from gateway.journal.pending import read_pending
from gateway.journal.reading import read_heard, trouble_with
from gateway.journal.store import pending_path
from gateway.journal.trouble import JournalError, JournalRefusedError
from tests.journal.keeping import RUN, batch_of, frames, store_at
from tests.judged_frames import Post

PLAIN = "CREATE TABLE heard (id INTEGER PRIMARY KEY, time_ms INTEGER, object TEXT)"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def forge(path: Path, *statements: str) -> None:
    """A file that says it is a journal."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        connection.execute("PRAGMA user_version = 1")


def journal_of(path: Path, count: int) -> None:
    store = store_at(path)
    post = Post(RUN)
    store.write(batch_of(frames(count, post)))
    store.close()


def change(path: Path, statement: str, *values: object) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute(statement, values)


def read(path: Path) -> tuple[list[int], list[str]]:
    """The sequences that could be read, and why the others could not."""
    sequences, because = [], []
    for line in read_heard(path):
        if isinstance(line, CaptureLine):
            sequences.append(read_object(line.octets)["sequence"])
        else:
            because.append(line.because)
    return sequences, because


# What is no table of rows is refused: a stranger's SQL would run in it.

LOOP = (
    "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n) SELECT i AS id, 0 AS time_ms, 'x' AS object FROM n"
)


@pytest.mark.parametrize(
    "statements",
    [
        (f"CREATE VIEW heard AS {LOOP}",),
        ("CREATE VIRTUAL TABLE heard USING fts5 (id, time_ms, object)",),
        ("CREATE TABLE heard (id INTEGER PRIMARY KEY, object TEXT GENERATED ALWAYS AS (hex(zeroblob(100000000))))",),
        ("CREATE TABLE heard (rowid TEXT, object TEXT)",),
        ("CREATE TABLE heard (id INTEGER PRIMARY KEY)",),
        ("CREATE TABLE heard (id INTEGER PRIMARY KEY, object BLOB)",),
        ("CREATE TABLE hear (id INTEGER PRIMARY KEY, object TEXT)",),
    ],
)
def test_what_is_no_plain_table_is_refused(path: Path, statements: tuple[str, ...]) -> None:
    forge(path, *statements)
    with pytest.raises(JournalRefusedError, match="is no journal as the gateway writes one"):
        read(path)


def test_a_pipe_is_refused_and_not_waited_for(path: Path) -> None:
    os.mkfifo(path)
    with pytest.raises(JournalRefusedError, match="is no file"):
        read(path)
    assert isinstance(trouble_with(path), JournalRefusedError)


def test_a_folder_is_told_as_one(path: Path) -> None:
    path.mkdir()
    with pytest.raises(JournalError, match="is a folder; name a file in it"):
        read(path)


def test_a_pipe_beside_a_journal_is_not_waited_for(path: Path) -> None:
    os.mkfifo(pending_path(path))
    assert read_pending(pending_path(path)) == []


def test_what_else_a_stranger_defines_is_never_asked(path: Path) -> None:
    forge(
        path, PLAIN, f"CREATE VIEW other AS {LOOP}",
        "CREATE INDEX odd ON heard (length(hex(zeroblob(1000))))",
        "CREATE TRIGGER odd_too AFTER INSERT ON heard BEGIN DELETE FROM heard; END",
    )  # fmt: skip
    assert read(path) == ([], [])


# Rows that are damaged are counted and passed over.


@pytest.mark.parametrize(
    ("statement", "because"),
    [
        ("UPDATE heard SET object = 17 WHERE sequence = 3", None),
        ("UPDATE heard SET object = hex(zeroblob(40000)) WHERE sequence = 3", "the row is longer than 65536 octets"),
        ("UPDATE heard SET object = zeroblob(90000000) WHERE sequence = 3", "the journal is damaged here"),
    ],
)
def test_a_row_that_holds_no_object_is_passed_over(path: Path, statement: str, because: str | None) -> None:
    journal_of(path, 5)
    change(path, statement)
    lines = list(read_heard(path))
    others = [line for line in (*lines[:2], *lines[3:]) if isinstance(line, CaptureLine)]
    assert [read_object(line.octets)["sequence"] for line in others] == [1, 2, 4, 5]
    third = lines[2]
    assert (third.because if isinstance(third, BadLine) else None) == because


def test_a_row_without_text_is_passed_over(path: Path) -> None:
    forge(path, PLAIN, "INSERT INTO heard VALUES (1, 0, NULL), (2, 0, '{\"sequence\": 2}')")
    assert read(path) == ([2], ["the row holds no text"])


def test_ids_of_any_size_end_the_reading_no_later_than_the_rows_do(path: Path) -> None:
    last = 2**63 - 1
    forge(
        path, PLAIN, f"INSERT INTO heard VALUES (-{last}, 0, '{{\"sequence\": 1}}'), ({last}, 0, '{{\"sequence\": 2}}')"
    )
    assert read(path) == ([1, 2], [])


def test_damaged_pages_cost_the_rows_on_them_and_few_others(path: Path) -> None:
    journal_of(path, 2000)
    octets = bytearray(path.read_bytes())
    pages = len(octets) // 4096
    for page in (pages // 3, pages // 2):
        octets[page * 4096 : (page + 1) * 4096] = b"\xa5" * 4096
    path.write_bytes(octets)
    sequences, because = read(path)
    assert set(because) <= {"the journal is damaged here"}
    assert because
    assert sequences == sorted(set(sequences))
    assert len(sequences) > 1800


@pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning")
@given(
    st.lists(st.tuples(st.integers(0, 2**20), st.binary(min_size=1, max_size=300)), max_size=20), st.integers(0, 2**20)
)
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_the_octets_of_a_journal_are_it_is_read_or_refused(
    path: Path, changes: list[tuple[int, bytes]], length: int
) -> None:
    if not (whole := path.with_name("whole.db")).exists():
        journal_of(whole, 300)
    octets = bytearray(whole.read_bytes())
    for place, written in changes:
        start = place % len(octets)
        octets[start : start + len(written)] = written
    path.write_bytes(octets[: max(length % (len(octets) * 2), 100)])
    with contextlib.suppress(JournalError):
        assert sum(isinstance(line, CaptureLine) for line in read_heard(path)) <= 300


def test_reading_takes_bounded_memory_whatever_the_rows_hold(path: Path) -> None:
    forge(path, PLAIN)
    with contextlib.closing(sqlite3.connect(path)) as connection, connection:
        rows = ((number, 0, '{"sequence": 1, "pad": "%s"}' % ("x" * 60_000)) for number in range(1, 1500))
        connection.executemany("INSERT INTO heard VALUES (?, ?, ?)", rows)
    tracemalloc.start()
    try:
        assert sum(1 for _ in read_heard(path)) == 1499
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 4_000_000  # of 90 MB


def test_a_statement_that_takes_too_long_is_ended(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    journal_of(path, 2000)
    moments = iter(range(1, 10**9))
    monkeypatch.setattr(reading, "_OPERATIONS_BETWEEN_LOOKS", 1)
    monkeypatch.setattr(time, "monotonic", lambda: float(next(moments)))
    with pytest.raises(JournalError, match="takes too long to read"):
        read(path)


def test_a_journal_that_is_damaged_all_over_is_left(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MAXIMUM_DAMAGES", 3)
    journal_of(path, 50)
    change(path, "UPDATE heard SET object = zeroblob(1000000) WHERE sequence % 2 = 0")
    with pytest.raises(JournalError, match="damaged in too many places"):
        read(path)
