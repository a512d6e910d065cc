"""The journal as the gateway uses it: run, offered to, drained, read back, and killed in the midst of it."""

import asyncio
import contextlib
import signal
import sqlite3
import sys
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from gateway.feed.heard_object import HeardPayload, encode, heard_object, no_report
from gateway.feed.reader import ReportReader
from gateway.frames.capture import CaptureLine, read_object
from gateway.groundwork.back_off import Pauses
from gateway.groundwork.expanding import CompressionError
from gateway.groundwork.part import PartKind, State
from gateway.journal.journal import Journal
from gateway.journal.options import DiskPace
from gateway.journal.reading import read_lines
from gateway.journal.trouble import JournalRefusedError
from gateway.judge.memory import JudgeMemory
from tests.journal import endless_gateway
from tests.journal.keeping import PATIENCE_OF_A_TEST, RUN, Clock, frames, heard_objects, rows_in, running, until_written
from tests.judge.listening import POST, Listening
from tests.judged_frames import NOON_MS, POLICY
from tests.options import journal_options
from tests.remembering import budgets_of

AT_ONCE = DiskPace(gather=0, pauses=Pauses(0, 0))

METERED = """
rates:
  - {name: metered, allow: 1 kB per day}
"""


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "stile.db"


def journal_at(path: Path, run: str = RUN) -> Journal:
    options = journal_options(path, pace=AT_ONCE)
    return Journal(options, Clock().run(run), callsign="QX1GAT-10", policy=POLICY)


async def test_what_is_heard_is_kept_as_it_is_published(path: Path) -> None:
    journal = journal_at(path)
    judged = frames(50)
    reader = ReportReader(POST)
    async with running(journal):
        for each in judged:
            journal.offer([HeardPayload(each, reader)])
    published = [encode(heard_object(each, reader(each))) for each in judged]
    assert [encode(plain) for plain in heard_objects(path)] == published
    assert journal.state().written == 50


async def test_a_journal_is_a_part_of_the_post_that_is_well_when_it_can_be_written(path: Path) -> None:
    journal = journal_at(path)
    async with running(journal):
        journal.offer([HeardPayload(frames(1)[0])])
        await until_written(journal, 1)
        part = journal.part()
        assert (part.kind, part.name, part.state, part.why) == (PartKind.JOURNAL, "journal", State.OK, "")


async def test_the_run_is_known_though_nothing_is_heard(path: Path) -> None:
    async with running(journal_at(path)):
        pass
    assert rows_in(path, "SELECT identity, started_ms, callsign, policy FROM runs") == [
        (RUN, NOON_MS, "QX1GAT-10", POLICY)
    ]


async def test_times_of_sending_and_policies_are_kept(path: Path) -> None:
    journal = journal_at(path)
    payload = HeardPayload(frames(1)[0])
    async with running(journal):
        journal.offer_policy(POLICY, [("receive-only.yaml", "version: 1\n")])
        journal.offer_forwarded([payload], NOON_MS + 2)
        journal.offer([payload])
    assert rows_in(path, "SELECT sequence, sent_ms FROM heard") == [(1, NOON_MS + 2)]
    assert rows_in(path, "SELECT since_ms, label, texts FROM policies") == [
        (NOON_MS, POLICY, '[{"file": "receive-only.yaml", "text": "version: 1\\n"}]')
    ]


async def test_what_is_used_of_a_budget_survives_a_restart(path: Path) -> None:
    line = b"QA1BCD-9>APRS:>%s %d"
    listening = Listening(METERED)
    first = journal_at(path, "first")
    await first.recollect([JudgeMemory(listening.judge)], no_report)
    async with running(first):
        heard = [listening.hear(line % (b"x" * 200, number)) for number in range(10)]
        assert [judged.forward for judged in heard] == [True] * 4 + [False] * 6

    restarted = Listening(METERED)
    second = journal_at(path, "second")
    await second.recollect([JudgeMemory(restarted.judge)], no_report)
    assert budgets_of(restarted.judge) == budgets_of(listening.judge) != {}
    assert restarted.reasons(line % (b"x" * 200, 11)) == ["over-rate"]
    async with running(second):
        pass


async def test_a_journal_of_a_newer_version_is_refused_at_the_start(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 4000")
    with pytest.raises(JournalRefusedError, match="a journal of version 4000, and this Stile knows versions up to"):
        await journal_at(path).recollect([], no_report)


async def test_a_journal_of_a_newer_version_ends_no_gateway_that_runs(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA user_version = 4000")
    journal = journal_at(path)
    async with running(journal):
        journal.offer([HeardPayload(frames(1)[0])])
        while journal.part().state is not State.DOWN:  # noqa: ASYNC110 - the disk is in another thread
            await asyncio.sleep(0.001)
        assert journal.part().do == "install the newer Stile again, or name another file as the journal"
        await asyncio.to_thread(path.unlink)
        await until_written(journal, 1)


async def test_a_disk_that_fails_at_the_start_is_said_and_the_gateway_starts_without_memory(tmp_path: Path) -> None:
    with capture_logs() as logs:
        await journal_at(tmp_path / "gone" / "stile.db").recollect([], no_report)
    assert [(each["event"], each["log_level"]) for each in logs] == [("nothing is known of the time before", "warning")]


@pytest.mark.parametrize("_try", range(2))
async def test_killed_in_the_midst_of_writing_nothing_is_lost_that_was_on_disk(path: Path, _try: int) -> None:
    folder = path.parent / "captures"
    gateway = await asyncio.create_subprocess_exec(
        sys.executable,
        endless_gateway.__file__,
        str(path),
        str(folder),
        stdout=asyncio.subprocess.PIPE,
        env={"PYTHONPATH": str(Path(__file__).parents[2])},
    )
    assert gateway.stdout is not None
    on_disk = 0
    async with asyncio.timeout(PATIENCE_OF_A_TEST):
        while on_disk < 300:
            on_disk = int(await gateway.stdout.readline())
        gateway.send_signal(signal.SIGKILL)
        await gateway.wait()

    assert captured(folder) == list(range(1, len(captured(folder)) + 1))
    assert len(captured(folder)) >= on_disk

    again = journal_at(path, "again")
    async with running(again):
        again.offer([HeardPayload(frames(1)[0])])
    kept = [plain["sequence"] for plain in heard_objects(path)]
    assert kept == [*range(1, len(kept)), 1]
    assert len(kept) > on_disk


def captured(folder: Path) -> list[int]:
    [capture] = folder.iterdir()
    sequences = []
    with capture.open("rb") as file, contextlib.suppress(CompressionError):
        for line in read_lines(file):
            assert isinstance(line, CaptureLine)
            sequences.append(int(read_object(line.octets)["sequence"]))
    return sequences
