"""What is moved away or deleted while it is written is noticed within seconds, and begun anew."""

import asyncio
import shutil
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from gateway.feed.heard_object import HeardPayload, no_report
from gateway.groundwork.part import State
from gateway.journal.capture import CaptureKeeper
from gateway.journal.journal import Journal
from gateway.journal.options import CaptureOptions, DiskPace
from gateway.journal.recorder import Recorder
from gateway.watches.day import DayCounts
from tests.journal.keeping import RUN, Clock, frames, heard_in, rows_in, running, until_written
from tests.judged_frames import POLICY, Post
from tests.options import journal_options

PACE = DiskPace(gather=0, look=0.001)


def journal_at(path: Path) -> Journal:
    return Journal(journal_options(path, pace=PACE), Clock().run(RUN), callsign="QX1GAT-10", policy=POLICY)


async def until_there(path: Path) -> None:
    while not path.exists():  # noqa: ASYNC110, ASYNC240 - the disk is in another thread, and this is no gateway
        await asyncio.sleep(0.001)


async def hear(recorder: Recorder, post: Post, count: int) -> None:
    written = recorder.state().written
    for judged in frames(count, post):
        recorder.offer([HeardPayload(judged)])
    await until_written(recorder, written + count)


async def test_a_journal_that_is_deleted_is_made_anew_though_nothing_is_heard(tmp_path: Path) -> None:
    path, post = tmp_path / "stile.db", Post(RUN)
    journal = journal_at(path)
    with capture_logs() as logs:
        async with running(journal):
            await hear(journal, post, 2)
            path.unlink()
            await until_there(path)
            assert journal.part().state is State.OK
            await hear(journal, post, 1)
    assert [sequence for _, sequence in heard_in(path)] == [1, 2, 3]  # the first two were not settled yet
    assert {"the journal was moved or deleted: a new one is begun"} == {
        each["event"] for each in logs if each["log_level"] == "warning"
    }


async def test_its_folder_is_made_anew_with_it(tmp_path: Path) -> None:
    path = tmp_path / "kept" / "stile.db"
    path.parent.mkdir()
    journal = journal_at(path)
    async with running(journal):
        await hear(journal, Post(RUN), 2)
        shutil.rmtree(path.parent)
        await until_there(path)
    assert len(heard_in(path)) == 2


async def test_a_journal_that_is_moved_away_keeps_what_was_settled(tmp_path: Path) -> None:
    path, post = tmp_path / "stile.db", Post(RUN)
    moved = tmp_path / "moved.db"
    journal = journal_at(path)
    async with running(journal):
        await hear(journal, post, 2)
        journal.settle_soon()
        while journal.state().unsettled:  # noqa: ASYNC110 - it tells nobody
            await asyncio.sleep(0.001)
        path.rename(moved)
        await until_there(path)
        await hear(journal, post, 1)
    assert ([s for _, s in heard_in(moved)], [s for _, s in heard_in(path)]) == ([1, 2], [3])


async def test_into_a_new_journal_everything_that_is_remembered_is_dumped_anew(tmp_path: Path) -> None:
    path, post = tmp_path / "stile.db", Post(RUN)
    journal, day = journal_at(path), DayCounts()
    await journal.recollect([day], no_report)
    async with running(journal):
        day.hear([HeardPayload(judged) for judged in frames(2, post)])
        await hear(journal, post, 2)
        path.unlink()
        await until_there(path)
    assert rows_in(path, "SELECT name FROM remembered") == [("day",)]


@pytest.mark.parametrize("folder_too", [False, True])
async def test_captures_that_are_deleted_are_begun_anew(tmp_path: Path, *, folder_too: bool) -> None:
    folder, post = tmp_path / "captures", Post(RUN)
    captures = CaptureKeeper(CaptureOptions(folder, pace=PACE), Clock().run(RUN))
    async with running(captures):
        await hear(captures, post, 2)
        if folder_too:
            shutil.rmtree(folder)
            await until_there(folder)
        else:
            next(folder.iterdir()).unlink()
        await hear(captures, post, 1)
        await hear(captures, post, 1)
    assert len(list(folder.iterdir())) == 1
