"""What the tests of the journal stand on: frames of the regatta, stores, looks into files, and a disk that is full."""

import asyncio
import contextlib
import resource
import sqlite3
from collections import deque
from collections.abc import AsyncIterator, Iterator, Sequence
from contextlib import asynccontextmanager, contextmanager
from pathlib import Path
from typing import Any

from gateway.feed.heard_object import HeardPayload
from gateway.frames.capture import BEGAN_WITH, CaptureLine, read_object
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.groundwork.duration import DAY_MS
from gateway.journal.batch import Batch, Dump
from gateway.journal.options import JournalOptions
from gateway.journal.reading import read_heard
from gateway.journal.recorder import Recorder
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.verdict import Judged
from gateway.reports.distance import Origin
from tests.judged_frames import NOON_MS, POLICY, Post

RUN = "0f1e2d3c4b5a"

PATIENCE_OF_A_TEST = 20.0
"""Seconds after which a test that waits in vain fails; no test waits so long by design."""


class Clock:
    """The clocks of a run, which stand until they are told to go on."""

    def __init__(self) -> None:
        self.seconds = 0.0

    def run(self, identity: str = RUN) -> Run:
        return Run(identity, monotonic=lambda: self.seconds, wall=lambda: NOON_MS / 1000 + self.seconds)


def record(identity: str = RUN, started_ms: int = NOON_MS) -> RunRecord:
    return RunRecord(identity, started_ms, "QX1GAT-10", POLICY)


ANTENNA = Origin(58.6, -3.9167)
"""Where the antenna of the regatta's post is."""


def store_at(
    path: Path,
    identity: str = RUN,
    *,
    keep_ms: int = 30 * DAY_MS,
    octets: int = 10**12,
    origin: Origin | None = ANTENNA,
) -> Store:
    return Store(JournalOptions(path, keep_ms, octets), record(identity), origin)


def keep(path: Path, frames_heard: Sequence[HeardPayload], identity: str = RUN) -> None:
    """A journal that holds these frames, written and closed."""
    store = store_at(path, identity)
    batch = Batch(deque(frames_heard), settles=True)
    while batch.encode(0):
        pass
    store.write(batch)
    store.close()


def frames(count: int, post: Post | None = None) -> list[Judged]:
    """Positions of boats, heard a second apart."""
    post = post or Post(RUN)
    heard = []
    for number in range(count):
        heard.append(post.hear(b"QA1BCD-%d>APRS,QD1AA*:!5836.00N/00355.00W>buoy %d" % (number % 15 + 1, number)))
        post.wait(1000)
    return heard


def batch_of(judged: Sequence[Judged] = (), *, settles: bool = True, dumps: Sequence[Dump] = (), **more: Any) -> Batch:  # noqa: ANN401 - whatever a batch holds
    batch = Batch(deque(map(HeardPayload, judged)), settles=settles, **more)
    for dump in dumps:
        batch.put_dump(dump)
    while batch.encode(0):
        pass
    return batch


def rows_in(path: Path, select: str) -> list[tuple[Any, ...]]:
    """What another program sees in a database."""
    with contextlib.closing(sqlite3.connect(path)) as connection:
        return connection.execute(select).fetchall()


def heard_objects(path: Path) -> list[PlainObject]:
    """The heard objects in a journal, none of them damaged."""
    objects = [read_object(line.octets) for line in read_heard(path) if isinstance(line, CaptureLine)]
    return [plain for plain in objects if BEGAN_WITH not in plain]


def heard_in(path: Path) -> list[tuple[Any, ...]]:
    return rows_in(path, "SELECT run, sequence FROM heard ORDER BY id")


@contextmanager
def full_disk(octets: int) -> Iterator[None]:
    """A file that would grow beyond so many octets cannot: the system refuses, as it does when a disk is full."""
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (octets, hard))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))


@asynccontextmanager
async def running(recorder: Recorder) -> AsyncIterator[asyncio.Task[None]]:
    """Run `recorder`, and drain it at the end where the test has not."""
    async with asyncio.timeout(PATIENCE_OF_A_TEST):
        task = asyncio.create_task(recorder.run())
        await asyncio.sleep(0)
        try:
            yield task
        finally:
            await recorder.drain(PATIENCE_OF_A_TEST)
            await asyncio.wait([task])


async def until_written(recorder: Recorder, count: int) -> None:
    """Let the others run until so many frames are on disk."""
    while recorder.state().written < count:  # noqa: ASYNC110 - a recorder tells nobody what it has written
        await asyncio.sleep(0.001)
