"""A recorder for the tests, and a disk in memory for it that does as it is told."""

import asyncio
import threading
from collections.abc import Sequence
from typing import TYPE_CHECKING

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Moment
from gateway.groundwork.back_off import Pauses
from gateway.groundwork.part import PartKind
from gateway.journal.batch import Batch
from gateway.journal.options import DiskPace, Limits
from gateway.journal.recorder import Recorder
from gateway.judge.verdict import Judged
from tests.journal.keeping import Clock

if TYPE_CHECKING:
    from gateway.groundwork.part import Trouble

LIMITS = Limits()
AT_ONCE = DiskPace(gather=0, pauses=Pauses(0, 0))


class Disk:
    """A medium in memory that does as it is told."""

    def __init__(self) -> None:
        self.notice: Trouble | None = None
        self.batches: list[list[int]] = []
        self.sent: dict[int, int] = {}
        self.failures: list[Exception] = []
        """What the next tries meet, one each."""

        self.answers = threading.Event()
        """Cleared, the disk does not answer."""

        self.answers.set()
        self.tries = 0
        self.settled = 0
        self.whole = 0
        """How often nothing was left to wait."""

        self.is_moved = False
        self.left_to_tidy = 0
        self.tidied_at: list[int] = []
        self.closed = 0
        self.threads: set[int] = set()

    def write(self, batch: Batch) -> None:
        self.threads.add(threading.get_ident())
        self.tries += 1
        self.answers.wait()
        if self.failures:
            raise self.failures.pop(0)
        if batch.rows:
            self.batches.append([row.sequence for row in batch.rows])
        self.sent |= batch.sent
        self.settled += batch.settles
        self.whole += batch.settles and not batch.may_wait

    def tidy(self, moment: Moment) -> bool:
        self.threads.add(threading.get_ident())
        if self.failures:
            raise self.failures.pop(0)
        self.tidied_at.append(moment.time_ms)
        self.left_to_tidy -= 1
        return self.left_to_tidy > 0

    def look(self) -> bool:
        was_moved, self.is_moved = self.is_moved, False
        return was_moved

    def close(self) -> None:
        self.closed += 1

    @property
    def written(self) -> list[int]:
        return [sequence for batch in self.batches for sequence in batch]


class Fixture:
    def __init__(self, *, limits: Limits = LIMITS, pace: DiskPace = AT_ONCE, kind: type[Recorder] = Recorder) -> None:
        self.clock = Clock()
        self.disk = Disk()
        self.recorder = kind(PartKind.JOURNAL, self.disk, self.clock.run().now, limits=limits, pace=pace)

    def offer(self, judged: Sequence[Judged]) -> None:
        for each in judged:
            self.recorder.offer([HeardPayload(each)])

    async def tried(self, count: int) -> None:
        while self.disk.tries < count:  # noqa: ASYNC110 - the disk is in another thread
            await asyncio.sleep(0.001)
