"""The small file beside the journal: what a killed process leaves in it is taken in, whatever became of it."""

import os
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from structlog.testing import capture_logs

from gateway.feed.heard_object import HeardPayload
from gateway.journal.batch import Batch, Dump, PolicyTexts
from gateway.journal.pending import PendingFile, read_pending
from gateway.journal.store import MAXIMUM_HELD, Store
from gateway.judge.verdict import Reason
from tests.journal.keeping import RUN, batch_of, frames, full_disk, heard_in, record, rows_in, store_at
from tests.judged_frames import NOON_MS, Post


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def pending_of(path: Path) -> Path:
    return path.with_name("stile.db-pending")


def killed(path: Path, run: str, count: int, post: Post | None = None) -> Store:
    """A store of a process that was killed before so many frames were settled."""
    store = store_at(path, run)
    store.write(batch_of(settles=True))
    store.write(batch_of(frames(count, post or Post(run)), settles=False))
    return store


def test_what_a_killed_process_had_not_settled_is_settled_at_the_next_start(path: Path) -> None:
    killed(path, "first", 3)
    assert heard_in(path) == []
    store = store_at(path, "second")
    store.write(batch_of(frames(1, Post("second"))))
    store.close()
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3), (2, 1)]
    assert not pending_of(path).exists()


def test_it_is_kept_as_it_would_have_been(path: Path, tmp_path: Path) -> None:
    post = Post(RUN)
    judged = [
        post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>"),
        post.hear(b"QD1AA>APRS:}QB2BCD>APRS,TCPIP*:>inside", reason=Reason.THIRD_PARTY_INTERNET),
        post.hear(b"no frame"),
        post.hear(b"QA1BCD-9>APRS:>\xff\xfe\x00"),
    ]
    other = tmp_path / "other.db"
    for place, settles in ((path, False), (other, True)):
        store = store_at(place)
        store.write(batch_of(settles=True))
        store.write(batch_of(judged, sent={1: NOON_MS + 7}, settles=settles))
        if settles:
            store.close()
    after = store_at(path, "second")
    after.write(batch_of(settles=True))
    after.close()
    select = "SELECT id, time_ms, source, reason, sent_ms, object FROM heard ORDER BY id"
    assert rows_in(path, select) == rows_in(other, select)


def test_two_that_were_killed_in_turn_while_the_journal_was_away_are_both_taken_in(path: Path) -> None:
    for run in ("first", "second"):
        PendingFile(pending_of(path), record(run)).append(batch_of(frames(2, Post(run))))
    store = store_at(path, "third")
    store.write(batch_of(frames(1, Post("third"))))
    store.close()
    assert heard_in(path) == [(1, 1), (1, 2), (2, 1), (2, 2), (3, 1)]
    assert rows_in(path, "SELECT identity FROM runs") == [("first",), ("second",), ("third",)]


def test_what_was_settled_is_not_settled_twice(path: Path) -> None:
    store = killed(path, "first", 3)
    before = pending_of(path).read_bytes()
    store.write(batch_of(settles=True))
    assert pending_of(path).read_bytes() == b""
    pending_of(path).write_bytes(before)  # as if the process was killed between the two
    after = store_at(path, "second")
    after.write(batch_of(settles=True))
    after.close()
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3)]


@pytest.mark.parametrize("cut", range(1, 200, 13))
def test_cut_off_anywhere_only_the_last_line_is_lost(path: Path, cut: int) -> None:
    killed(path, "first", 3)
    pending = pending_of(path)
    pending.write_bytes(pending.read_bytes()[:-cut])
    PendingFile(pending, record("second")).append(batch_of(frames(1, Post("second"))))
    runs = read_pending(pending)
    assert [(run.record.identity, [row.sequence for row in run.rows]) for run in runs] == [
        ("first", [1, 2] if cut > 1 else [1, 2, 3]),
        ("second", [1]),
    ]


def test_a_journal_that_cannot_be_opened_leaves_them_where_they_are(path: Path) -> None:
    killed(path, "first", 2)
    content = path.read_bytes()
    path.write_bytes(b"a letter to a friend" * 500)
    other = store_at(path, "second")
    with pytest.raises(Exception, match="damaged"):
        other.write(batch_of(frames(1, Post("second"))))
    other.close()
    path.write_bytes(content)
    third = store_at(path, "third")
    third.write(batch_of(settles=True))
    third.close()
    assert rows_in(path, "SELECT identity, sequence FROM heard JOIN runs ON runs.id = heard.run") == [
        ("first", 1), ("first", 2), ("second", 1),
    ]  # fmt: skip


def test_where_it_cannot_be_written_frames_are_settled_at_once(path: Path) -> None:
    pending_of(path).mkdir()
    store = store_at(path)
    with capture_logs() as log:
        store.write(batch_of(frames(2), settles=False))
        assert heard_in(path) == [(1, 1), (1, 2)]
        store.write(batch_of(frames(4)[2:], settles=False))
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3), (1, 4)]
    assert ["cannot be kept beside the journal" in line["event"] for line in log].count(True) == 1
    store.close()


def test_what_a_full_disk_cuts_off_leaves_whole_lines(path: Path) -> None:
    pending = PendingFile(path, record())
    post = Post(RUN)
    pending.append(batch_of(frames(2, post)))
    before = path.read_bytes()
    with full_disk(len(before) + 100), pytest.raises(OSError, match=r"large|space"):
        pending.append(batch_of(frames(2, post)))
    assert path.read_bytes() == before
    pending.append(batch_of(frames(1, post)))
    assert [[row.sequence for row in run.rows] for run in read_pending(path)] == [[1, 2, 5]]


@pytest.mark.parametrize("change", [os.unlink, lambda path: path.rename(path.with_name("elsewhere"))])
def test_moved_away_or_deleted_a_new_one_is_begun(path: Path, change: object) -> None:
    assert callable(change)
    pending = PendingFile(path, record())
    post = Post(RUN)
    pending.append(batch_of(frames(2, post)))
    change(path)
    assert not pending.is_in_place()
    pending.append(batch_of(frames(1, post)))
    assert [[row.sequence for row in run.rows] for run in read_pending(path)] == [[3]]


# What a loss of power does not take, beside the journal


@pytest.fixture
def synced(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """How long each file was that was synced, as the system is asked to."""
    sizes: list[int] = []
    monkeypatch.setattr("gateway.journal.pending.os.fsync", lambda file: sizes.append(os.fstat(file).st_size))
    return sizes


def waiting(count: int = 2, post: Post | None = None, **more: Any) -> Batch:  # noqa: ANN401 - whatever a batch holds
    """Frames that are to be settled, wherever that is."""
    return batch_of(frames(count, post), may_wait=True, **more)


def test_what_may_wait_is_settled_beside_the_journal(path: Path, synced: list[int]) -> None:
    store = store_at(path)
    store.write(batch_of())
    batch = waiting()
    store.write(batch)
    assert batch.may_wait
    assert pending_of(path).stat().st_size in synced
    assert heard_in(path) == []
    store.write(batch_of(frames(1, Post("other"))))
    assert heard_in(path) == [(1, 1), (1, 2)]  # the third has the number of the first


def test_its_name_is_settled_once(path: Path, synced: list[int]) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of())
    for _ in range(3):
        store.write(waiting(1, post))
    assert len(synced) == 4


@pytest.mark.parametrize(
    "more",
    [{"policies": [PolicyTexts("p", 0, [])]}, {"dumps": [Dump("judge", 1, 0)]}, {"beginning": Dump("judge", 1, 0)}],
)
def test_what_does_not_stand_beside_it_cannot_wait(path: Path, more: dict[str, Any]) -> None:
    store = store_at(path)
    batch = waiting(**more)
    store.write(batch)
    assert not batch.may_wait
    assert heard_in(path) == [(1, 1), (1, 2)]


def test_no_more_than_so_many_frames_wait(path: Path) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of())
    store.write(waiting(MAXIMUM_HELD - 1, post))
    assert heard_in(path) == []
    store.write(waiting(1, post))
    assert len(heard_in(path)) == MAXIMUM_HELD


def test_what_was_moved_away_with_its_file_does_not_wait(path: Path) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of())
    store.write(waiting(2, post))
    pending_of(path).rename(path.with_name("elsewhere"))
    store.write(waiting(1, post))
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3)]


def test_what_a_full_disk_does_not_take_beside_the_journal_does_not_wait(path: Path) -> None:
    pending_of(path).mkdir()
    store = store_at(path)
    store.write(waiting())
    assert heard_in(path) == [(1, 1), (1, 2)]
    store.close()


def test_what_cannot_be_synced_does_not_wait(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    store = store_at(path)
    store.write(batch_of())

    def fails(_file: int) -> None:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("gateway.journal.pending.os.fsync", fails)
    store.write(waiting())
    assert heard_in(path) == [(1, 1), (1, 2)]


HELLO = HeardPayload(Post("x").hear(b"QA1BCD>APRS:>hello")).encoded()
_line = st.binary(max_size=60) | st.sampled_from(
    [
        b'{"pending_of":"x","started_ms":1,"callsign":"Q","policy":"p"}',
        b'{"pending_of":"\\ud800","started_ms":1,"callsign":"Q","policy":"p"}',
        b'{"pending_of":"x","started_ms":-1,"callsign":"Q","policy":"p"}',
        b'{"pending_of":"x","started_ms":1,"callsign":"Q","policy":"p","boot":5,"boot_ms":"y"}',
        b'{"sent":1,"at_ms":1}', b'{"sent":9999999999999999999,"at_ms":1}', b'{"sent":1}', b'{"sent":[],"at_ms":{}}',
        b"[" * 3000, b'{"sequence":1}', b"null",
        HELLO,
        HELLO.replace(b'"run":"x"', b'"run":"y"'),
        HELLO.replace(b'"sequence":1', b'"sequence":2199023255552'),
        HELLO.replace(b'"verdict"', b'"reason":"odd","verdict"'),
    ]
)  # fmt: skip


@given(st.lists(_line, max_size=12), st.sampled_from([b"\n", b"\r\n", b""]))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_whatever_stands_in_it_the_journal_is_opened(path: Path, lines: list[bytes], between: bytes) -> None:
    path.unlink(missing_ok=True)
    pending_of(path).write_bytes(between.join(lines))
    store = store_at(path, "next")
    store.write(batch_of(frames(1, Post("next"))))
    store.close()
    assert heard_in(path)[-1][1] == 1
