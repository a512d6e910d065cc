"""What a memory card feels: octets written for each frame and idle, hours of it at once, by the kernel's own count.

The journal's file, the captures and everything that is remembered over a restart, by a clock that is passed in: frames
at twelve a minute, settled each minute, dumped and tidied when that is due, in a journal in which a month stands
already, of which the oldest ages out. `card` measures gateways at their real pace, and sees less: not what is due once
in half an hour or an hour.

What counts is what the kernel wrote for this process, less what it spared itself. Left alone, it writes a file that
was changed after 30 seconds (Linux, vm.dirty_expire_centisecs); here it is told to, as often.
"""

import asyncio
import contextlib
import os
import shutil
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import structlog

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import tnc2
from gateway.frames.heard import Run
from gateway.journal.batch import Batch
from gateway.journal.capture import CaptureWriter
from gateway.journal.keeper import Keeper
from gateway.journal.options import CaptureOptions, DiskPace
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.memory import JudgeMemory
from gateway.running.faults import Faults
from gateway.running.house import House
from gateway.settings import policy_files
from gateway.watches.watches import Watches
from tests.bench.card import MONTH_FRAMES, SECONDS_BETWEEN_FRAMES, fill
from tests.bench.ends import line
from tests.bench.figures import Effort, Figure
from tests.bench.processes import written_octets
from tests.options import journal_options

HOURS, QUICK_HOURS = 24, 12
HOUR_SECONDS, MINUTE_SECONDS = 3600, 60
WRITEBACK_SECONDS = 30
HEALTH_SECONDS = 10
WORK_IN_SECONDS = round(DiskPace().work_in)
POST = Post("QX1GAT-10", 58.6, -3.9167)
RECEIVER = "vhf"


class KeptPost:
    """What of a gateway has to do with a disk, in the order in which it does so, driven second by second."""

    def __init__(self, folder: Path, *, captures: bool) -> None:
        self._seconds = 0.0
        began = time.time()
        self._run = Run(monotonic=lambda: self._seconds, wall=lambda: began + self._seconds)
        reader = ReportReader(POST)
        watches = Watches([], [RECEIVER], POST, reader, self._run.now())
        self._house = House(self._run, reader, Stations(), watches, Faults(self._run.now))
        self._judge = Judge(
            policy_files.load("receive-only", POST, beside=policy_files.ready_policies()).compiled(POST)
        )
        self._keeper = Keeper(self._run, [JudgeMemory(self._judge), *self._house.memories()])
        self._path = folder / "stile.db"
        self._store = Store(
            journal_options(self._path), RunRecord(self._run.identity, int(began * 1000), "QX1GAT-10", "")
        )
        self._captures: CaptureWriter | None = None
        if captures:
            options = CaptureOptions(folder / "captures")
            self._captures = CaptureWriter(options, self._run.identity, lambda: self._run.now().time_ms)

    def let_pass(self, seconds: int, *, hears: bool) -> int:
        """Let time pass; returns how many frames were heard in it."""
        frames = 0
        for _ in range(0, seconds, SECONDS_BETWEEN_FRAMES):
            self._seconds += SECONDS_BETWEEN_FRAMES
            batch = Batch()
            if hears:
                frames += 1
                batch.heard.append(self._hear())
            if self._is_due(HEALTH_SECONDS):
                self._house.tick([RECEIVER])
            if self._is_due(MINUTE_SECONDS):
                batch.may_wait = not self._is_due(WORK_IN_SECONDS)
                batch.settles = True
                if not batch.may_wait:
                    for dump in asyncio.run(self._keeper.dumps(leaving=False)):
                        batch.put_dump(dump)
            self._write(batch)
        return frames

    def work_in_log(self) -> None:
        """Close the journal: what stands in its log alone must be written again, so it counts."""
        self._store.close()

    def _is_due(self, seconds: int) -> bool:
        return int(self._seconds) % seconds == 0

    def _hear(self) -> HeardPayload:
        frame = tnc2.read(line(MONTH_FRAMES + self._run.heard))
        judged = self._judge.judge(self._run.hear(self._run.now(), RECEIVER, 0, frame))
        payload = HeardPayload(judged, self._house.reader)
        self._house.hear([payload])
        return payload

    def _write(self, batch: Batch) -> None:
        settles = batch.settles
        while batch.encode(1.0):
            pass
        if settles or not batch.is_empty:
            self._store.write(batch)
            if self._captures is not None:
                self._captures.write(batch)
        if settles:
            while self._store.tidy(self._run.now()):
                pass
        if self._is_due(WRITEBACK_SECONDS):
            self._write_back()

    def _write_back(self) -> None:
        for path in self._path.parent.glob("**/*"):
            with contextlib.suppress(OSError):
                descriptor = os.open(path, os.O_RDONLY)
                os.fsync(descriptor)
                os.close(descriptor)


def measure(effort: Effort) -> Iterator[Figure]:
    """The figures: with captures and without."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    seconds = (QUICK_HOURS if effort.quick else HOURS) * HOUR_SECONDS
    with tempfile.TemporaryDirectory() as name:
        month, young = Path(name) / "month.db", Path(name) / "young.db"
        fill(month, MONTH_FRAMES)
        fill(young, MONTH_FRAMES // 100)
        for what, captures in (("journal", False), ("journal and captures", True)):
            frames, octets = kept(month, seconds, captures=captures, hears=True)
            yield Figure(f"{what}, a frame", octets / frames / 1000, "kB", f"{frames:,} frames")
            _, octets = kept(young, seconds, captures=captures, hears=False)
            hours = seconds / HOUR_SECONDS
            yield Figure(f"{what}, idle, a day", octets * 24 / hours / 1e6, "MB", f"from {hours:.0f} h")


def kept(journal: Path, seconds: int, *, captures: bool, hears: bool) -> tuple[int, int]:
    """How many frames were heard in so long, and how many octets were written, by a post that goes on in `journal`."""
    with tempfile.TemporaryDirectory() as name:
        shutil.copyfile(journal, Path(name) / "stile.db")
        post = KeptPost(Path(name), captures=captures)
        post.let_pass(2 * HOUR_SECONDS, hears=True)  # what the start writes is written, and something ages out
        if not hears:
            post.let_pass(HOUR_SECONDS, hears=False)  # until all that was heard is dumped
        post.work_in_log()
        before = written_octets()
        frames = post.let_pass(seconds, hears=hears)
        post.work_in_log()
        return frames, written_octets() - before
