"""Frames a second that journal and captures keep, beside a plain file; what they wear a disk out; what the loop feels.

Everything lies in a temporary folder: set TMPDIR to one on the disk that is to be measured.

- at full speed, frames are offered as fast as they are written; the plain file gets the same lines, encoded likewise;
- at the pace of a post, so many frames stand between two transactions: what counts is handed to the file system;
- beside the loop, a timer of the event loop is late while frames are written and while none are.
"""

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
from gateway.journal.capture import CaptureKeeper
from gateway.journal.journal import Journal
from gateway.journal.options import CaptureOptions, DiskPace
from gateway.journal.recorder import Recorder
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.conditions import Post
from gateway.judge.verdict import Decision, Judged, Verdict
from tests.bench.figures import Effort, Figure, in_turn, per_second, ratio
from tests.options import journal_options

POST = Post("QX1GAT-10", 58.6, -3.9167)
POLICY = "receive-only@3fa9c1"
STATIONS = 200
FRAMES = 10_000
RATE = 200
"""Frames a second while the timer runs."""

SECONDS, QUICK_SECONDS = 3.0, 1.0
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
        innermost = frame if isinstance(frame, Frame) else None
        information = innermost.information if innermost else b""
        yield HeardPayload(Judged(heard, VERDICT, innermost, information), reader)


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
        raise AssertionError(f"not all was written: {state}")
    return count / (time.perf_counter() - began)


def written_octets() -> int:
    """Octets that this process has handed to file systems for writing (Linux, /proc/self/io)."""
    fields = dict(line.split(": ") for line in Path("/proc/self/io").read_text("ascii").splitlines())
    return int(fields["write_bytes"])


def wear(folder: Path, frames_per_transaction: int, transactions: int) -> float:
    """Octets written per frame, with so many frames in each transaction."""
    run = Run()
    store = Store(journal_options(folder / f"wear-{frames_per_transaction}.db"), RunRecord(run.identity, 0, "", POLICY))
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


def journal_in(folder: Path, run: Run) -> Journal:
    """A journal that writes without waiting for more."""
    options = journal_options(folder / "stile.db", pace=DiskPace(gather=0))
    return Journal(options, run, callsign="", policy=POLICY)


def captures_in(folder: Path, run: Run) -> CaptureKeeper:
    """Captures that are written without waiting for more."""
    return CaptureKeeper(CaptureOptions(folder, pace=DiskPace(gather=0)), run)


def plain_file(path: Path, reader: Reader, count: int) -> float:
    """Frames per second of a file that gets their heard objects as lines."""
    payloads = list(itertools.islice(frames(Run(), reader), count))
    began = time.perf_counter()
    with path.open("wb") as file:
        for payload in payloads:
            file.write(payload.encoded() + b"\n")
    return count / (time.perf_counter() - began)


def speeds(folder: Path, effort: Effort) -> Iterator[Figure]:
    """At full speed."""
    count, reader, numbers = effort.of(FRAMES), ReportReader(POST), itertools.count()
    kinds: dict[str, Callable[[Path, Run], Recorder]] = {"journal": journal_in, "captures": captures_in}

    def speed(make: Callable[[Path, Run], Recorder]) -> float:
        place = folder / f"speed-{next(numbers)}"
        place.mkdir()
        return asyncio.run(full_speed(partial(make, place), reader, count))

    sides = {kind: partial(speed, make) for kind, make in kinds.items()}
    rates = in_turn(effort.turns, {"plain": partial(plain_file, folder / "plain", reader, count), **sides})
    for place, kind in enumerate(kinds):
        yield ratio(kind, rates[kind], rates["plain"], per_second("frames"), "plain file")
        octets = size_of(folder / f"speed-{place}") / count
        yield Figure(f"{kind}, size", octets, "octets a frame")


def worn(folder: Path, effort: Effort) -> Iterator[Figure]:
    """At the pace of a post."""
    for together, transactions in ((1, 3000), (5, 1000), (60, 100), (500, 20)):
        octets = wear(folder, together, effort.of(transactions))
        yield Figure(f"written, {together} at a time", octets / 1000, "kB a frame")


def felt(folder: Path, effort: Effort) -> Iterator[Figure]:
    """Beside the loop."""
    seconds = QUICK_SECONDS if effort.quick else SECONDS
    late: dict[str, list[float]] = {"with": [], "without": []}
    for turn in range(effort.turns):
        for side, all_late in late.items():
            run = Run()
            options = journal_options(folder / f"late-{turn}.db")
            recorder = Journal(options, run, callsign="", policy=POLICY) if side == "with" else None
            found = asyncio.run(lateness(recorder, frames(run, ReportReader(POST)), RATE, seconds))
            all_late.append(found[len(found) * 99 // 100])
    ours, none = (statistics.median(late[side]) for side in ("with", "without"))
    name = f"timer later beside {RATE} frames/s, 99th percentile"
    yield Figure(name, ours - none, "ms", f"{ours:.2f} ms", f"no journal {none:.2f} ms", effort.turns)


def measure(effort: Effort) -> Iterator[Figure]:
    """All of it."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    with tempfile.TemporaryDirectory() as name:
        for part in (speeds, worn, felt):
            yield from part(Path(name), effort)
