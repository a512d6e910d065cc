"""A journal over which another program writes while it is open is said to be so; its log may go, and takes nothing."""

import asyncio
import contextlib
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from gateway.feed.heard_object import HeardPayload
from gateway.groundwork.part import State
from gateway.journal import store as store_module
from gateway.journal.journal import Journal
from gateway.journal.options import DiskPace
from gateway.journal.reading import open_to_read
from gateway.journal.standing import Standing
from gateway.journal.store import PAGE_OCTETS
from gateway.journal.trouble import JournalDamagedError
from tests.journal.keeping import RUN, Clock, batch_of, frames, heard_in, running, store_at
from tests.judged_frames import POLICY, Post
from tests.options import journal_options

OVERWRITTEN = "another program has written over the journal"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def write_over_first_octets(path: Path) -> None:
    with path.open("r+b") as file:
        file.write(b"a letter to a friend")


def write_zeros(path: Path) -> None:
    with path.open("r+b") as file:
        file.write(bytes(4096))


def empty(path: Path) -> None:
    os.truncate(path, 0)


def cut_off(path: Path) -> None:
    os.truncate(path, path.stat().st_size - 4096)


def copy_another_database_there(path: Path) -> None:
    other = path.with_name("recipes.db")
    with contextlib.closing(sqlite3.connect(other)) as connection:
        connection.execute("CREATE TABLE recipes (name)")
    shutil.copyfile(other, path)  # into the same file: its place stays
    other.unlink()


HARMS = [write_over_first_octets, write_zeros, empty, cut_off, copy_another_database_there]


@pytest.mark.parametrize("harm", HARMS)
def test_what_another_program_wrote_over_is_refused_until_it_is_moved_away(
    path: Path, harm: Callable[[Path], None]
) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of(frames(20, post)))
    store.close()
    store.write(batch_of(frames(1, post)))
    assert store.look() is False
    harm(path)
    batch = batch_of(frames(2, post), settles=False)
    for attempt in (store.look, lambda: store.write(batch), lambda: store.write(batch)):
        with pytest.raises(JournalDamagedError, match=OVERWRITTEN) as error:
            attempt()
        assert error.value.trouble.do == "end that program, then move the file away: a new journal is begun"
    path.rename(path.with_name("moved.db"))
    store.write(batch)
    store.write(batch_of(frames(1, post)))
    store.close()
    assert heard_in(path) == [(1, 22), (1, 23), (1, 24)]


def test_it_is_noticed_before_anything_is_settled_there(path: Path) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of(frames(3, post)))
    write_over_first_octets(path)
    with pytest.raises(JournalDamagedError, match=OVERWRITTEN):
        store.write(batch_of(frames(1, post)))


async def test_the_post_says_so_within_a_look_and_goes_on_once_the_file_is_moved(path: Path) -> None:
    pace = DiskPace(gather=0, look=0.001)
    journal = Journal(journal_options(path, pace=pace), Clock().run(RUN), callsign="QX1GAT-10", policy=POLICY)

    async def until(state: State) -> None:
        while journal.part().state is not state:  # noqa: ASYNC110 - a recorder tells nobody how it is
            await asyncio.sleep(0.001)

    with capture_logs() as logs:
        async with running(journal):
            await until(State.OK)
            write_over_first_octets(path)
            await until(State.DOWN)
            journal.offer([HeardPayload(judged) for judged in frames(2)])
            assert (journal.part().why or "").startswith(OVERWRITTEN)
            path.rename(path.with_name("moved.db"))  # noqa: ASYNC240 - the disk is in another thread
            await until(State.OK)
    assert heard_in(path) == [(1, 1), (1, 2)]
    assert [each["event"] for each in logs if each["log_level"] == "error"] == [OVERWRITTEN]


@pytest.mark.parametrize("spoiled_octets", [0, 100])
def test_what_a_loss_of_power_leaves_half_worked_in_is_no_stranger(path: Path, spoiled_octets: int) -> None:
    """As a checkpoint leaves a journal in its midst: the rest is not there yet, or its beginning is half written."""
    store, post = store_at(path), Post(RUN)
    store.write(batch_of(frames(200, post)))
    left = path.with_name("left.db")
    before = path.read_bytes()
    shutil.copyfile(path.with_name("stile.db-wal"), left.with_name("left.db-wal"))
    store.close()
    first_page = path.read_bytes()[:PAGE_OCTETS]
    left.write_bytes(bytes(spoiled_octets) + first_page[spoiled_octets:] + before[PAGE_OCTETS:])
    again = store_at(left, "another")
    again.write(batch_of(frames(1)))
    assert again.look() is False
    assert again.look() is False
    again.close()
    assert len(heard_in(left)) == 201
    assert again.notice is None


@pytest.mark.parametrize("ending", ["-wal", "-shm"])
def test_a_log_that_is_deleted_takes_nothing_with_it(path: Path, ending: str) -> None:
    store, post = store_at(path), Post(RUN)
    store.write(batch_of(frames(3, post)))
    path.with_name(f"stile.db{ending}").unlink()
    assert store.look() is True
    store.write(batch_of(frames(1, post)))
    assert heard_in(path) == [(1, 1), (1, 2), (1, 3), (1, 4)]  # another program sees all of it, though none was closed
    store.close()


def test_a_log_that_is_deleted_while_somebody_reads_by_it_is_left_once_the_reading_is_over(
    path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(store_module, "BUSY_SECONDS", 0.0)
    store, post = store_at(path), Post(RUN)
    store.write(batch_of(frames(3, post)))
    with contextlib.closing(open_to_read(path)) as reader:
        reader.execute("BEGIN")
        reader.execute("SELECT count(*) FROM heard").fetchall()
        store.write(batch_of(frames(1, post)))
        path.with_name("stile.db-wal").unlink()
        assert store.look() is False
    assert store.look() is True
    store.write(batch_of(frames(1, post)))
    assert heard_in(path) == [(1, sequence) for sequence in range(1, 6)]
    store.close()


def test_a_new_journal_that_somebody_reads_is_no_stranger(path: Path) -> None:
    """Its first pages then stand in its log alone, and the mark with them."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as connection:
        connection.execute("PRAGMA journal_mode = WAL")
        standing = Standing(path)
        connection.execute("PRAGMA application_id = 1")
        connection.execute("CREATE TABLE heard (id)")
        assert not standing.is_overwritten()


def test_whoever_reads_it_in_this_process_keeps_the_lock_when_it_is_opened_anew(path: Path) -> None:
    store = store_at(path)
    store.write(batch_of(frames(1)))
    with contextlib.closing(open_to_read(path)) as reader:
        reader.execute("SELECT count(*) FROM heard").fetchall()
        store.close()
        store.write(batch_of(frames(1)))
        assert store.look() is False
        look = (
            "import sqlite3, sys; print(sqlite3.connect(sys.argv[1]).execute('SELECT count(*) FROM heard').fetchone())"
        )
        subprocess.run([sys.executable, "-c", look, str(path)], check=True)
        assert store.look() is False  # that program was not the last: the log is still there
    store.close()
