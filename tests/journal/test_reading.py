"""Reading what was kept: in order, in bounded memory, while the gateway writes."""

import contextlib
import gzip
import io
import json
import sqlite3
import sys
import tracemalloc
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from gateway.frames.capture import BadLine, CaptureLine, read_object
from gateway.groundwork.expanding import CompressionError
from gateway.journal import reading
from gateway.journal.batch import Dump
from gateway.journal.reading import read_heard, read_lines
from gateway.journal.trouble import JournalDamagedError, JournalError, JournalRefusedError
from tests.journal.keeping import RUN, batch_of, frames, heard_objects, store_at
from tests.judged_frames import Post

if sys.version_info >= (3, 14):
    from compression import zstd
else:
    from backports import zstd


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def sequences(path: Path) -> list[tuple[str, int]]:
    return [(plain["run"], plain["sequence"]) for plain in heard_objects(path)]


@pytest.mark.parametrize("rows_at_a_time", [1, 2, 7, 500])
def test_frames_come_by_run_and_sequence(path: Path, rows_at_a_time: int, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "ROWS_AT_A_TIME", rows_at_a_time)
    for run in ("zebra", "aster"):
        store = store_at(path, run)
        store.write(batch_of(frames(7, Post(run))))
        store.close()
    assert sequences(path) == [(run, number) for run in ("zebra", "aster") for number in range(1, 8)]


def test_where_a_clock_was_set_back_the_order_is_still_that_of_hearing(path: Path) -> None:
    post = Post(RUN)
    first = frames(3, post)
    post.wait(-2500)
    store = store_at(path)
    store.write(batch_of([*first, *frames(3, post)]))
    store.close()
    assert [number for _, number in sequences(path)] == [1, 2, 3, 4, 5, 6]


def test_the_gateway_may_write_and_work_its_log_in_while_someone_reads(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading, "ROWS_AT_A_TIME", 3)
    store = store_at(path)
    post = Post(RUN)
    store.write(batch_of(frames(10, post)))
    reader = read_heard(path)
    read = [next(reader).number for _ in range(5)]
    store.write(batch_of(frames(10, post)))
    assert store._connection is not None  # noqa: SLF001 - whether the log can be worked in only the connection says
    was_busy, *_ = store._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()  # noqa: SLF001
    assert was_busy == 0
    read += [line.number for line in reader]
    store.close()
    assert read == list(range(1, 11))


def test_memory_is_bounded_however_much_there_is(path: Path) -> None:
    store = store_at(path)
    post = Post(RUN)
    for _ in range(8):
        store.write(batch_of(frames(1000, post)))
    store.close()
    tracemalloc.start()
    try:
        assert sum(1 for _ in read_heard(path)) == 8_000
        _, peak = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert peak < 1_000_000  # of the journal's 3 MB, which are many more once they are objects


def test_a_journal_that_is_not_there_is_not_made(path: Path) -> None:
    with pytest.raises(JournalError, match="there is no journal at"):
        sequences(path)
    assert not path.exists()


def test_a_path_with_any_characters_is_read(tmp_path: Path) -> None:
    path = tmp_path / "what? 100% #1 ü" / "stile.db"
    path.parent.mkdir()
    store = store_at(path)
    store.write(batch_of(frames(2)))
    store.close()
    assert len(sequences(path)) == 2


def test_what_is_no_journal_is_refused(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    with pytest.raises(JournalRefusedError, match="database of another program"):
        sequences(path)
    path.write_bytes(b"a letter to a friend" * 100)
    with pytest.raises(JournalDamagedError):
        sequences(path)
    path.write_bytes(b"")
    with pytest.raises(JournalRefusedError, match="is empty"):
        sequences(path)


@pytest.mark.parametrize("compress", [bytes, gzip.compress, zstd.compress], ids=["plain", "gzip", "zstd"])
def test_captures_are_read_line_by_line_whatever_they_are_compressed_with(
    tmp_path: Path, compress: Callable[[bytes], bytes]
) -> None:
    lines = [json.dumps({"sequence": number, "text": "x" * 200}).encode() for number in range(1, 2001)]
    lines[6] = b"x" * 70_000
    path = tmp_path / "capture"
    path.write_bytes(compress(b"\n".join(lines)))
    with path.open("rb") as file:
        read = list(read_lines(file))
    assert read[6] == BadLine(7, "the line is longer than 65536 octets")
    del read[6], lines[6]
    assert [line.octets for line in read if isinstance(line, CaptureLine)] == lines


def test_a_capture_that_is_cut_off_is_read_as_far_as_it_goes() -> None:
    content = gzip.compress(b"".join(b"%d\n" % number for number in range(10_000)))
    reader = read_lines(io.BytesIO(content[: len(content) // 2]))
    read: list[bytes] = []
    with pytest.raises(CompressionError, match="cut off"):
        read.extend(line.octets for line in reader if isinstance(line, CaptureLine))
    assert read == [b"%d" % number for number in range(len(read))]
    assert len(read) > 3000


def test_each_run_begins_with_what_its_judge_remembered(path: Path) -> None:
    for run in ("first", "second"):
        store = store_at(path, run)
        pieces = deque[Mapping[str, Any]]([{"run": run}, {"budgets": {}}])
        store.write(batch_of(frames(2, Post(run)), beginning=Dump("judge", 1, 0, pieces=pieces)))
        store.close()
    lines = [read_object(line.octets) for line in read_heard(path) if isinstance(line, CaptureLine)]
    told = [(plain["run"], plain.get("began_with", plain.get("sequence"))) for plain in lines]
    assert told[:4] == [("first", {"run": "first"}), ("first", {"budgets": {}}), ("first", 1), ("first", 2)]
    assert told[4:] == [("second", {"run": "second"}), ("second", {"budgets": {}}), ("second", 1), ("second", 2)]
