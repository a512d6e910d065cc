"""How many frames a second the journal and captures keep, how many octets each takes, and what the event loop feels.

Three measurements, each on files of its own in a folder that is deleted at the end:

- at full speed: frames are offered as fast as they are written; frames per second, octets per frame on disk;
- at the pace of a post: so many frames between two transactions; octets handed to the file system per frame, which is
  what wears a memory card out;
- beside the loop: how late a timer of the event loop is, while frames are written and while none are.

Run it from the tree: `.venv/bin/python tests/bench/journal.py`.
"""

import argparse
import asyncio
import itertools
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import structlog

from gateway.feed.heard_object import HeardPayload, Reader, no_report
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Run
from gateway.journal.batch import Batch
from gateway.journal.capture import Captures
from gateway.journal.journal import Journal
from gateway.journal.options import CaptureOptions, JournalOptions, Pace
from gateway.journal.recorder import Recorder
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.conditions import Post
from gateway.judge.verdict import Decision, Judged, Verdict

POST = Post("QX1GAT-10", 58.6, -3.9167)
POLICY = "receive-only@3fa9c1"
STATIONS = 200
VERDICT = Verdict(Decision.FORWARD, POLICY)


def frames(run: Run, reader: Reader) -> Iterator[HeardPayload]:
    """Positions from many stations, no two the same, without end."""
    for number in itertools.count():
        line = b"QA%03dX-%d>APRS,QD1AA*,WIDE2-1:!5836.%02dN/00355.%02dW>%03d/%03dunder way, frame %d" % (
            number % STATIONS,
            number % 15 + 1,
            number % 100,
            number // 100 % 100,
            number * 7 % 360,
            number % 12,
            number,
        )
        frame = tnc2.read(line)
        heard = Heard(run.identity, number + 1, run.now(), "vhf", 0, frame)
        yield HeardPayload(Judged(heard, VERDICT, frame if isinstance(frame, Frame) else None), reader)


def size_of(folder: Path) -> int:
    """Octets of all files below `folder`."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


async def full_speed(make: Callable[[Run], Recorder], reader: Reader, count: int) -> float:
    """Frames per second that are written when more always waits."""
    run = Run()
    recorder = make(run)
    task = asyncio.create_task(recorder.run())
    await asyncio.sleep(0.1)
    source = frames(run, reader)
    began = time.perf_counter()
    offered = 0
    while offered < count:
        room = min(2000 - recorder.state().waiting, count - offered)
        for payload in itertools.islice(source, max(room, 0)):
            recorder.offer([payload])
        offered += max(room, 0)
        await asyncio.sleep(0.001)  # a loop that spins would keep the interpreter from the thread
    await recorder.drain(60)
    await task
    state = recorder.state()
    if state.written != count:
        print("   not all was written:", state)
    return count / (time.perf_counter() - began)


def written_octets() -> int:
    """Octets that this process has handed to file systems for writing (Linux, /proc/self/io)."""
    fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text("ascii").splitlines())
    return int(fields["write_bytes"])


def wear(folder: Path, frames_per_transaction: int, transactions: int) -> float:
    """Octets written per frame, with so many frames in each transaction."""
    run = Run()
    store = Store(JournalOptions(folder / f"wear-{frames_per_transaction}.db"), RunRecord(run.identity, 0, "", POLICY))
    source = frames(run, no_report)
    before = written_octets()
    for _ in range(transactions):
        batch = Batch(settles=True)
        batch.heard.extend(itertools.islice(source, frames_per_transaction))
        batch.encode(60)
        store.write(batch)
    store.close()
    return (written_octets() - before) / transactions / frames_per_transaction


async def lateness(recorder: Recorder | None, source: Iterator[HeardPayload], rate: int, seconds: float) -> list[float]:
    """How late a timer of 1 ms is, in milliseconds, while `rate` frames a second are heard."""
    task = asyncio.create_task(recorder.run()) if recorder else None
    late: list[float] = []
    began = time.perf_counter()
    heard = 0
    while (now := time.perf_counter()) < began + seconds:
        if recorder:
            due = int((now - began) * rate) - heard
            for payload in itertools.islice(source, due):
                recorder.offer([payload])
            heard += due
        before = time.perf_counter()
        await asyncio.sleep(0.001)
        late.append((time.perf_counter() - before) * 1000 - 1)
    if recorder and task:
        await recorder.drain(10)
        await task
    return sorted(late)


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--frames", type=int, default=20_000)
    parser.add_argument("--rate", type=int, default=200, help="frames a second for the timer's lateness")
    parser.add_argument("--seconds", type=float, default=10)
    parser.add_argument("--folder", type=Path, help="where to write: a folder on the disk to be measured")
    options = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    with tempfile.TemporaryDirectory(dir=options.folder) as name:
        measure(Path(name), options.frames, options.rate, options.seconds)


def journal_in(folder: Path, run: Run) -> Journal:
    """A journal that writes without waiting for more."""
    options = JournalOptions(folder / "stile.db", pace=Pace(gather=0))
    return Journal(options, run, callsign="", policy=POLICY)


def captures_in(folder: Path, run: Run) -> Captures:
    """Captures that are written without waiting for more."""
    return Captures(CaptureOptions(folder, pace=Pace(gather=0)), run)


def measure(folder: Path, count: int, rate: int, seconds: float) -> None:
    """All three measurements."""
    report = ReportReader(POST)
    readers: dict[str, Reader] = {"without reports": no_report, "with reports": report}
    kinds: dict[str, Callable[[Path, Run], Recorder]] = {"journal": journal_in, "capture": captures_in}
    for (what, reader), (kind, make) in itertools.product(readers.items(), kinds.items()):
        place = folder / kind / what.replace(" ", "-")
        place.mkdir(parents=True)
        speed = asyncio.run(full_speed(partial(make, place), reader, count))
        print(f"{kind}, {what}: {speed:8,.0f} frames/s, {size_of(place) / count:6.0f} octets a frame")
    for together, transactions in ((1, 3000), (5, 1000), (60, 100), (500, 20)):
        print(f"{together:4} frames a transaction: {wear(folder, together, transactions):8,.0f} octets written a frame")
    for what, is_written in (("no journal", False), (f"a journal of {rate} frames/s", True)):
        run = Run()
        options = JournalOptions(folder / "late.db")
        recorder = Journal(options, run, callsign="", policy=POLICY) if is_written else None
        late = asyncio.run(lateness(recorder, frames(run, report), rate, seconds))
        p99 = late[len(late) * 99 // 100]
        print(f"timer with {what}: {statistics.median(late):.2f} ms late, p99 {p99:.2f} ms, worst {late[-1]:.2f} ms")


if __name__ == "__main__":
    main()
