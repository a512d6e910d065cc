"""The journal's file: what is in it, that it stays within its bounds, and what becomes of it when the disk fails."""

import contextlib
import json
import sqlite3
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload
from gateway.frames import third_party, tnc2
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.heard import Heard, Moment
from gateway.frames.plain import from_object
from gateway.groundwork.duration import HOUR_MS
from gateway.journal import rows as rows_module
from gateway.journal import schema
from gateway.journal import store as store_module
from gateway.journal.batch import PolicyTexts, Row
from gateway.journal.store import Store
from gateway.journal.trouble import JournalDamagedError, JournalError, JournalRefusedError
from gateway.judge.verdict import Decision, Judged, Reason, Verdict
from tests.frames.strategies import any_frames
from tests.journal.keeping import RUN, batch_of, frames, full_disk, heard_in, heard_objects, rows_in, store_at
from tests.judged_frames import NOON_MS, POLICY, Post


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def spoil(path: Path) -> None:
    """Overwrite all but the first page of a closed journal."""
    octets = path.read_bytes()
    path.write_bytes(octets[:4096] + b"\xa5" * (len(octets) - 4096))


def tidy(store: Store, time_ms: int) -> bool:
    """Take a step to delete what is too old, the clock having been steady for an hour."""
    store.tidy(Moment(0, time_ms - HOUR_MS))
    return store.tidy(Moment(HOUR_MS, time_ms))


def test_a_frame_is_a_row_with_what_later_questions_ask_for(path: Path) -> None:
    post = Post(RUN)
    forward = post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>")
    post.wait(1500)
    keep = post.hear(b"QD1AA>APRS:}QB2BCD>APRS,TCPIP*:>inside", reason=Reason.THIRD_PARTY_INTERNET)
    no_frame = post.hear(b"no frame")
    store = store_at(path)
    store.write(batch_of([forward, keep, no_frame], sent={1: NOON_MS + 7}))
    store.close()
    assert rows_in(path, "SELECT run, sequence, time_ms, source, verdict, reason, sent_ms FROM heard ORDER BY id") == [
        (1, 1, NOON_MS, "QA1BCD-9", "forward", None, NOON_MS + 7),
        (1, 2, NOON_MS + 1500, "QB2BCD", "keep", "third-party-internet", None),
        (1, 3, NOON_MS + 1500, None, "keep", "damaged", None),
    ]
    assert rows_in(path, "SELECT * FROM runs") == [(1, RUN, NOON_MS, "QX1GAT-10", POLICY, None, None)]


awkward = any_frames() | st.binary(max_size=600).map(lambda octets: damaged("the header is odd", octets))


@given(st.lists(st.tuples(awkward, st.integers(0, 15)), max_size=20))
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_frames_with_any_octets_come_back_as_they_were(path: Path, frames: list[tuple[Frame | Damaged, int]]) -> None:
    heard = [Heard(RUN, place, Moment(3, NOON_MS), "vhf", *each[::-1]) for place, each in enumerate(frames, 1)]
    judged = [judged_somehow(each) for each in heard]
    path.unlink(missing_ok=True)
    store = store_at(path)
    store.write(batch_of(judged))
    store.close()
    assert [from_object(plain) for plain in heard_objects(path)] == heard
    texts = [text.encode() for (text,) in rows_in(path, "SELECT object FROM heard ORDER BY id")]
    assert texts == [HeardPayload(each).encoded() for each in judged]


def judged_somehow(heard: Heard) -> Judged:
    if isinstance(heard.frame, Damaged):
        return Judged(heard, Verdict(Decision.KEEP, POLICY, Reason.DAMAGED), None)
    innermost = third_party.unwrap(heard.frame).innermost
    return Judged(heard, Verdict(Decision.FORWARD, POLICY), innermost, tnc2.first_line(innermost.information))


def test_the_time_of_sending_may_come_later(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(2)))
    store.write(batch_of(sent={2: NOON_MS + 900, 77: NOON_MS}))
    store.close()
    assert rows_in(path, "SELECT sequence, sent_ms FROM heard") == [(1, None), (2, NOON_MS + 900)]


def test_a_batch_that_is_handed_over_twice_is_there_once(path: Path) -> None:
    batch = batch_of(frames(100))
    store = store_at(path)
    store.write(batch)
    store.write(batch)
    store.close()
    assert heard_in(path) == [(1, sequence) for sequence in range(1, 101)]


def test_runs_follow_one_another_whatever_their_clocks_said(path: Path) -> None:
    for identity in ("first", "second", "first"):
        store = store_at(path, identity)
        store.write(batch_of(frames(2)))
        store.close()
    assert heard_in(path) == [(1, 1), (1, 2), (2, 1), (2, 2)]


def test_numbers_of_runs_are_not_given_again(path: Path) -> None:
    store = store_at(path, "first")
    store.write(batch_of(frames(2)))
    store.close()
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("DELETE FROM runs")
    store = store_at(path, "second")
    store.write(batch_of(frames(1)))
    store.close()
    assert heard_in(path) == [(1, 1), (1, 2), (2, 1)]


def test_writes_are_kind_to_a_memory_card(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(1)))
    connection = store._connection  # noqa: SLF001 - these settings belong to the connection
    assert connection is not None
    found = {
        name: connection.execute(f"PRAGMA {name}").fetchone()[0]
        for name in ("journal_mode", "synchronous", "page_size", "journal_size_limit", "auto_vacuum")
    }
    full, incremental = 2, 2
    assert found == {
        "journal_mode": "wal",
        "synchronous": full,
        "page_size": 2048,
        "journal_size_limit": 16 * 1024 * 1024,
        "auto_vacuum": incremental,
    }
    store.close()


@pytest.mark.parametrize("page_octets", [2048, 4096])
def test_the_log_beside_the_file_stays_small(path: Path, page_octets: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Also beside a file of an earlier version, which has larger pages."""
    bound = 512 * 1024
    monkeypatch.setattr(store_module, "LOG_OCTETS", bound)
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute(f"PRAGMA page_size = {page_octets}")
        schema.migrate(connection, path)
    store = store_at(path)
    post = Post(RUN)
    sizes: list[int] = []
    for _ in range(40):
        store.write(batch_of(frames(50, post)))
        sizes.append(path.with_name("stile.db-wal").stat().st_size)
    assert bound / 2 < max(sizes) < 1.5 * bound
    store.close()
    assert [each.name for each in path.parent.iterdir()] == ["stile.db"]


def test_what_is_too_old_goes_in_small_steps(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows_module, "STEP_ROWS", 10)
    store = store_at(path, keep_ms=60_000)
    store.write(batch_of(frames(100)))
    steps = 0
    while tidy(store, NOON_MS + 95_000):
        steps += 1
    store.close()
    assert steps == 3
    assert heard_in(path) == [(1, sequence) for sequence in range(36, 101)]


def test_with_the_frames_go_the_runs_and_the_policies_they_belonged_to(path: Path) -> None:
    for day in range(4):
        store = store_at(path, f"run-{day}", keep_ms=60_000)
        post = Post(f"run-{day}")
        post.wait(day * 86_400_000)
        texts = (("policy.yaml", f"name: policy {day}"),)
        policy = PolicyTexts(f"policy@{day}", post.moment.time_ms, texts)
        store.write(batch_of(frames(2, post), policies=[policy]))
        store.close()
    store.write(batch_of())
    for hour in range(5):  # the first one to see the clock go on, then a day's rows in each
        moment = Moment(hour * HOUR_MS, NOON_MS + 3 * 86_400_000 + (hour - 4) * HOUR_MS)
        assert store.tidy(moment) is False
    store.close()
    assert heard_in(path) == [(4, 1), (4, 2)]
    assert rows_in(path, "SELECT identity FROM runs") == [("run-3",)]
    # The last policy came into force at the very moment that is kept from.
    assert rows_in(path, "SELECT label FROM policies") == [("policy@2",), ("policy@3",)]


def test_beyond_its_octets_the_oldest_goes_however_young(path: Path) -> None:
    octets = 300_000
    store = store_at(path, octets=octets)
    post = Post(RUN)
    for _ in range(50):
        store.write(batch_of(frames(50, post)))
    store.close()
    kept = [sequence for _, sequence in heard_in(path)]
    assert kept == list(range(kept[0], 2501))
    assert 150 < len(kept) < 700
    assert path.stat().st_size < 1.5 * octets


def test_pages_that_are_free_for_good_go_back_to_the_file_system(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(rows_module, "FREE_PAGES_KEPT", 0)
    store = store_at(path, keep_ms=0)
    post = Post(RUN)
    for _ in range(20):
        store.write(batch_of(frames(500, post)))
    store.close()
    before = path.stat().st_size
    store.write(batch_of())
    while tidy(store, post.moment.time_ms):
        pass
    store.close()
    assert path.stat().st_size < before / 4


def test_policies_are_kept_with_their_texts_so_that_a_verdict_leads_to_them(path: Path) -> None:
    store = store_at(path)
    first = PolicyTexts("hill@aaaaaa", NOON_MS, (("hill.yaml", "name: hill\n"), ("club.yaml", "groups: ü\n")))
    second = PolicyTexts("hill@bbbbbb", NOON_MS + 5, (("hill.yaml", "name: hill\n# changed\n"),))
    store.write(batch_of(policies=[first, second]))
    store.write(batch_of(policies=[second]))
    store.write(batch_of(policies=[first]))
    store.close()
    found = rows_in(path, "SELECT since_ms, label, texts FROM policies ORDER BY id")
    assert [(since_ms, label) for since_ms, label, _ in found] == [
        (NOON_MS, "hill@aaaaaa"),
        (NOON_MS + 5, "hill@bbbbbb"),
        (NOON_MS, "hill@aaaaaa"),
    ]
    assert json.loads(found[0][2]) == [
        {"file": "hill.yaml", "text": "name: hill\n"},
        {"file": "club.yaml", "text": "groups: ü\n"},
    ]


def test_a_full_disk_takes_nothing_of_a_batch_and_all_of_it_once_there_is_room(path: Path) -> None:
    store = store_at(path)
    post = Post(RUN)
    store.write(batch_of(frames(10, post)))
    much = batch_of(frames(2000, post))
    with full_disk(200_000):
        for _ in range(3):
            with pytest.raises(JournalError) as error:
                store.write(much)
            assert str(path) in error.value.trouble.why
            assert "the disk" in error.value.trouble.do
    assert len(heard_in(path)) == 10
    store.write(much)
    store.close()
    assert heard_in(path) == [(1, sequence) for sequence in range(1, 2011)]


def test_what_sqlite_calls_full_is_said_to_be_full(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(1)))
    assert store._connection is not None  # noqa: SLF001 - the bound belongs to the connection
    store._connection.execute("PRAGMA max_page_count = 1")  # noqa: SLF001
    with pytest.raises(JournalError, match="there is no room left for the journal") as error:
        store.write(batch_of(frames(2000)))
    assert error.value.trouble.do == f"make room on the disk of {path.parent}"


def test_a_journal_that_another_program_holds_is_tried_again(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(store_module, "BUSY_SECONDS", 0.0)
    store = store_at(path)
    store.write(batch_of(frames(1)))
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(JournalError, match="another program holds the journal"):
            store.write(batch_of(frames(3)))
        other.execute("ROLLBACK")
    store.write(batch_of(frames(3)))
    store.close()
    assert len(heard_in(path)) == 3


def test_a_folder_that_is_not_there_is_named(tmp_path: Path) -> None:
    store = store_at(tmp_path / "gone" / "stile.db")
    with pytest.raises(JournalError, match="cannot be opened") as error:
        store.write(batch_of(frames(1)))
    assert str(tmp_path / "gone") in error.value.trouble.do
    (tmp_path / "gone").mkdir()
    store.write(batch_of(frames(1)))
    store.close()


def test_what_only_one_batch_brings_about_is_no_trouble_with_the_disk(path: Path) -> None:
    store = store_at(path)
    batch = batch_of(frames(3))
    batch.rows.append(Row(4, None, None, None, b"{}"))  # type: ignore[arg-type] # a row that breaks the file's rules
    with pytest.raises(sqlite3.IntegrityError):
        store.write(batch)
    store.write(batch_of(frames(1)))
    store.close()
    assert heard_in(path) == [(1, 1)]


def test_a_journal_that_is_damaged_is_set_aside_and_a_new_one_begun(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(500), policies=[PolicyTexts("hill@aaaaaa", NOON_MS, (("hill.yaml", "name: hill"),))]))
    store.close()
    spoil(path)
    spoiled = path.read_bytes()
    store.write(batch_of(frames(2)))
    store.close()
    assert heard_in(path) == [(1, 1), (1, 2)]
    assert rows_in(path, "SELECT label FROM policies") == [("hill@aaaaaa",)]
    aside = path.with_name("stile.db.damaged")
    assert aside.read_bytes()[4096:] == spoiled[4096:]
    assert store.notice is not None
    assert str(aside) in store.notice.why


def test_damage_that_shows_in_the_midst_of_writing_sets_the_file_aside_at_the_next_try(path: Path) -> None:
    store = store_at(path)
    post = Post(RUN)
    store.write(batch_of(frames(500, post)))
    connection = store._connection  # noqa: SLF001 - what it has in memory must go, so that it meets the damage
    assert connection is not None
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()
    connection.execute("PRAGMA cache_size = 0")
    connection.execute("PRAGMA shrink_memory")
    spoil(path)
    batch = batch_of(frames(3, post))
    with pytest.raises(JournalDamagedError):
        store.write(batch)
    store.write(batch)
    store.close()
    assert heard_in(path) == [(1, 501), (1, 502), (1, 503)]


def test_a_second_damaged_journal_is_left_to_the_operator(path: Path) -> None:
    aside = path.with_name("stile.db.damaged")
    aside.write_bytes(b"the first")
    store = store_at(path)
    store.write(batch_of(frames(500)))
    store.close()
    spoil(path)
    for _ in range(2):
        with pytest.raises(JournalDamagedError, match="move it away, and what was set aside"):
            store.write(batch_of(frames(2)))
    assert aside.read_bytes() == b"the first"
    path.rename(path.with_name("elsewhere.db"))
    store.write(batch_of(frames(2)))
    store.close()
    assert len(heard_in(path)) == 2


@pytest.mark.parametrize("content", [b"a letter to a friend" * 100, b"\0" * 5000, b"SQLite format 3\0" + b"\1" * 5000])
def test_a_file_that_is_not_surely_a_journal_is_never_moved(path: Path, content: bytes) -> None:
    path.write_bytes(content)
    store = store_at(path)
    with pytest.raises(JournalError):
        store.write(batch_of(frames(1)))
    assert path.read_bytes() == content
    assert {each.name for each in path.parent.iterdir()} == {"stile.db", "stile.db-pending"}


def test_a_database_of_another_program_is_refused_and_left_as_it_is(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    before = path.read_bytes()
    store = store_at(path)
    with pytest.raises(JournalRefusedError):
        store.write(batch_of(frames(1)))
    assert path.read_bytes() == before


LOST = "a journal was moved or deleted without its log: its last frames are lost"


def test_a_journal_that_is_moved_on_a_full_disk_is_said_to_have_lost_its_last_frames(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(50)))
    path.rename(path.with_name("moved.db"))
    with full_disk(4096), pytest.raises(JournalError):  # neither can the log be worked in, nor a new file begun
        store.write(batch_of(frames(2)))
    store.write(batch_of(frames(2)))
    assert store.notice is not None
    assert store.notice.why == LOST
    store.close()
    assert len(heard_in(path)) >= 2


def test_a_log_without_its_journal_that_a_killed_gateway_left_is_said_to_be_lost(path: Path) -> None:
    path.with_name("stile.db-wal").write_bytes(b"what no file belongs to")
    store = store_at(path)
    store.write(batch_of(frames(2)))
    assert store.notice is not None
    assert store.notice.why == LOST
    store.close()


def test_a_journal_that_is_moved_away_while_it_is_written_is_begun_anew(path: Path) -> None:
    store = store_at(path)
    post = Post(RUN)
    store.write(batch_of(frames(2, post)))
    moved = path.with_name("moved.db")
    path.rename(moved)
    assert tidy(store, NOON_MS) is False
    store.write(batch_of(frames(2, post)))
    store.close()
    assert store.notice is None
    assert heard_in(path) == [(1, 3), (1, 4)]
