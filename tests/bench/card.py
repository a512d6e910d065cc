"""What a memory card feels: octets written for each frame at twelve a minute, and idle, by the kernel's own count.

Gateways as `stile run` makes them keep a journal in which a month stands already, one with captures and one without,
both at their real pace: it takes half an hour, for what was heard is worked in ten minutes later. What counts is what
the kernel wrote for the process less what it spared itself (`write_bytes` and `cancelled_write_bytes`, Linux,
proc_pid_io(5)): pages of 4 kB, whatever they hold.
Set TMPDIR to a folder on the disk in question: in one that lies in memory nothing is ever written. Programs that sync
files of their own on the same disk make the kernel write ours oftener, too: take a disk where nothing else does.
"""

import contextlib
import shutil
import sqlite3
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment
from gateway.journal import schema
from gateway.journal.options import DiskPace
from gateway.journal.store import PAGE_OCTETS
from gateway.judge.conditions import Post
from gateway.judge.verdict import Decision, Judged, Verdict
from tests.bench.ends import STATIONS, Ends, Readers, burst, line
from tests.bench.figures import Effort, Figure
from tests.bench.processes import Measured, gateway

SECONDS_BETWEEN_FRAMES = 5
MINUTES, QUICK_MINUTES = 8, 2
IDLE_MINUTES, QUICK_IDLE_MINUTES = 5, 1
FLUSH_SECONDS = 60
MONTH_FRAMES = 30 * 24 * 60 * 12
DAY_MINUTES = 24 * 60
ROWS_AT_A_TIME = 1000

SECTIONS = {
    "journal": {"journal": {"path": "stile.db"}},
    "journal and captures": {"journal": {"path": "stile.db", "captures": "captures"}},
}


def fill(path: Path, frames: int) -> None:
    """A journal in which so many frames stand, twelve a minute, the last of them heard just now."""
    reader = ReportReader(Post("QX1GAT-10", 58.6, -3.9167))
    first_ms = int(time.time() * 1000) - frames * SECONDS_BETWEEN_FRAMES * 1000
    stations: list[tuple[str, str]] = []
    for number in range(STATIONS):
        frame = tnc2.read(line(number))
        assert isinstance(frame, Frame)
        heard = Heard("month", 1, Moment(0, first_ms), "vhf", 0, frame)
        judged = Judged(heard, Verdict(Decision.FORWARD, "receive-only@3fa9c1"), frame)
        stations.append((frame.source, HeardPayload(judged, reader).encoded().decode()))

    def rows() -> Iterator[tuple[int, int, str, str]]:
        for number in range(frames):
            source, text = stations[number % STATIONS]
            text = text.replace('"sequence":1,', f'"sequence":{number + 1},', 1)
            time_ms = first_ms + number * SECONDS_BETWEEN_FRAMES * 1000
            yield 1 << schema.SEQUENCE_BITS | number + 1, time_ms, source, text

    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as journal:
        journal.execute(f"PRAGMA page_size = {PAGE_OCTETS}")
        journal.execute("PRAGMA auto_vacuum = INCREMENTAL")
        schema.migrate(journal, path)
        journal.execute("INSERT INTO runs VALUES (1, 'month', ?, 'QX1GAT-10', 'x', NULL, NULL)", (first_ms,))
        journal.execute("BEGIN")
        journal.executemany("INSERT INTO heard (id, time_ms, source, object) VALUES (?, ?, ?, ?)", rows())
        journal.execute("COMMIT")


def written(gateways: dict[str, Measured]) -> dict[str, int]:
    """What was written for each so far."""
    return {name: measured.written_octets() for name, measured in gateways.items()}


def measure(effort: Effort) -> Iterator[Figure]:
    """The figures, after about half an hour."""
    minutes, idle_minutes = (QUICK_MINUTES, QUICK_IDLE_MINUTES) if effort.quick else (MINUTES, IDLE_MINUTES)
    with tempfile.TemporaryDirectory() as name, contextlib.ExitStack() as stack:
        month = Path(name) / "month.db"
        fill(month, effort.of(MONTH_FRAMES))
        readers = stack.enter_context(Readers())
        ends: dict[str, Ends] = {}
        gateways: dict[str, Measured] = {}
        for what, sections in SECTIONS.items():
            folder = Path(name) / what.replace(" ", "-")
            folder.mkdir()
            shutil.copyfile(month, folder / "stile.db")
            ends[what] = Ends(readers)
            gateways[what] = stack.enter_context(gateway(ends[what], folder, sections))
        frames = 0
        time.sleep(FLUSH_SECONDS)  # what the start writes, it writes once
        before = written(gateways)
        until = time.monotonic() + minutes * 60
        while time.monotonic() < until:
            for one in ends.values():
                one.send(burst(MONTH_FRAMES + frames, 1))
            frames += 1
            time.sleep(SECONDS_BETWEEN_FRAMES)
        time.sleep(DiskPace().work_in + 5)
        after = written(gateways)
        for what in SECTIONS:
            octets = (after[what] - before[what]) / frames
            yield Figure(f"{what}, a frame", octets / 1000, "kB", f"{frames} frames in {minutes} min")
        time.sleep(idle_minutes * 60)
        idle = written(gateways)
        for what in SECTIONS:
            octets = (idle[what] - after[what]) * DAY_MINUTES / idle_minutes
            yield Figure(f"{what}, idle, a day", octets / 1e6, "MB", f"from {idle_minutes} min")
