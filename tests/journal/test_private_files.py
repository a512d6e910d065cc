"""What was heard is for the gateway's own user alone, whatever the umask says."""

import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from gateway.feed.heard_object import HeardPayload
from gateway.journal.capture import CaptureKeeper
from gateway.journal.journal import Journal
from gateway.journal.options import CaptureOptions, DiskPace
from tests.journal.keeping import Clock, batch_of, frames, running, store_at, until_written
from tests.judged_frames import POLICY
from tests.options import journal_options


@contextmanager
def umask(mask: int) -> Iterator[None]:
    before = os.umask(mask)
    try:
        yield
    finally:
        os.umask(before)


def modes(folder: Path) -> dict[str, str]:
    return {str(path.relative_to(folder)): f"{stat.S_IMODE(path.stat().st_mode):o}" for path in folder.rglob("*")}


@pytest.mark.parametrize("mask", [0, 0o022, 0o277], ids=oct)
async def test_journal_and_captures_are_private_while_they_are_written_and_afterwards(
    tmp_path: Path, mask: int
) -> None:
    run = Clock().run("run")
    pace = DiskPace(gather=0)
    journal = Journal(journal_options(tmp_path / "stile.db", pace=pace), run, callsign="QX1GAT-10", policy=POLICY)
    captures = CaptureKeeper(CaptureOptions(tmp_path / "captures", pace=pace), run)
    with umask(mask):
        async with running(journal), running(captures):
            for judged in frames(3):
                journal.offer([HeardPayload(judged)])
                captures.offer([HeardPayload(judged)])
            await until_written(journal, 3)
            await until_written(captures, 3)
            found = modes(tmp_path)
    assert {"stile.db", "stile.db-wal", "stile.db-pending", "captures"} <= set(found)
    assert found.pop("captures") == "700"
    assert set(found.values()) == {"600"}
    assert len(found) >= 5


def test_a_journal_that_others_may_read_is_said_once_with_the_remedy(tmp_path: Path) -> None:
    path = tmp_path / "stile.db"
    store = store_at(path)
    store.write(batch_of())
    store.close()
    path.chmod(0o644)
    with capture_logs() as logs:
        for _ in range(2):
            store.write(batch_of(frames(1)))
            store.close()
    assert [(each["event"], each["why"]) for each in logs] == [
        ("the journal is not private", f"others on this computer may read it: chmod 600 {path}")
    ]


async def test_captures_that_others_may_change_are_said_with_the_remedy(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    folder.chmod(0o777)
    captures = CaptureKeeper(CaptureOptions(folder, pace=DiskPace(gather=0)), Clock().run())
    with capture_logs() as logs:
        async with running(captures):
            captures.offer([HeardPayload(frames(1)[0])])
    assert [(each["event"], each["why"]) for each in logs] == [
        ("the captures are not private", f"others on this computer may change it: chmod 700 {folder}")
    ]
