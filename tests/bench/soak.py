"""Faults drawn by chance, one or two at a time, upon a gateway that goes on: nothing twice, nothing late, all adds up.

    .venv/bin/python -m tests.bench.soak --minutes 45 --draw 1

Servers, decoder, broker, wall clock, disk, log, clients and the process itself take their turns. The draw is printed:
the same one makes the same faults. At each step's end all must be well again and the books are held against each other.
Every minute it prints what the gateway holds: memory, descriptors, threads, tasks. In the middle part one process lives
for so many minutes and is never ended: its memory at the end is compared with what it had when it was 5 minutes old.
By then it has remembered as many frames as it may, and suffered everything once, since each has its own most memory.
Before and after that part the process is killed and restarted as well. It ends with 1 where anything was wrong. It
wants a mosquitto; with libfaketime, clocks jump, too.
"""

import argparse
import asyncio
import random
import re
import signal
import statistics
import sys
import tempfile
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from tests.bench.soak_faults import FAULTS, Fault
from tests.bench.soak_post import HAS_FAKETIME, Post, post

FIRST_MINUTES = 4.0
"""So long the process is ended, too, and again in the last part, which lasts as long."""

MOST_GROWTH_MB, GROWN_UP_MINUTES = 3.0, 5.0
"""So much more a process may hold at the end than when it was so old."""

FILLING_PACE, FILLING_SECONDS = 25.0, 90.0
"""2250 frames: the web looks back 1000 and twice as many events, and the journal has its cache of pages."""

FIRST_ROUND_SECONDS = 1.0
"""So long each fault lasts when all of them are suffered in turn."""


@dataclass(frozen=True, slots=True)
class Reading:
    """What the gateway holds at one moment."""

    minutes: float
    """Of the soak."""

    process: int
    age_minutes: float
    memory_mb: float
    anonymous_mb: float
    """Without what is mapped from files."""

    descriptors: int
    threads: int
    tasks: int


async def reading(place: Post, began: float) -> Reading | None:
    """Now; None where there is no process (Linux, proc_pid_status(5))."""
    tasks, process = place.folder / "tasks", place.process
    if process is None or process.returncode is not None or not await place.is_alive():
        return None  # one that only just begins would be ended by the signal
    with suppress(OSError):
        tasks.unlink(missing_ok=True)
        process.send_signal(signal.SIGUSR1)
        await asyncio.sleep(0.5)
        return _read(process.pid, tasks, (time.monotonic() - began) / 60, (time.monotonic() - place.started) / 60)
    return None


def _read(process: int, tasks: Path, minutes: float, age_minutes: float) -> Reading:
    status = Path(f"/proc/{process}/status").read_text("ascii")
    found = dict(re.findall(r"^(VmRSS|RssAnon|Threads):\s+(\d+)", status, re.MULTILINE))
    memory_mb, anonymous_mb = int(found["VmRSS"]) / 1024, int(found["RssAnon"]) / 1024
    descriptors = sum(1 for _ in Path(f"/proc/{process}/fd").iterdir())
    counted = int(tasks.read_text("ascii")) if tasks.exists() else -1
    return Reading(minutes, process, age_minutes, memory_mb, anonymous_mb, descriptors, int(found["Threads"]), counted)


async def keep_reading(place: Post, began: float, readings: list[Reading]) -> None:
    """Every minute."""
    while True:
        now = await reading(place, began)
        if now is not None:
            readings.append(now)
            print(
                f"{now.minutes:6.1f} min  process {now.process} of {now.age_minutes:4.1f} min  {now.memory_mb:6.1f} MB "
                f"({now.anonymous_mb:.1f} of its own)  {now.descriptors:3} descriptors  {now.threads:2} threads  "
                f"{now.tasks:3} tasks  {len(place.books.arrived)} of {len(place.books.said)} up",
                flush=True,
            )
        await asyncio.sleep(60.0 - (time.monotonic() - began) % 60.0)


async def step(place: Post, chance: random.Random, faults: list[Fault]) -> None:
    """One or two faults at once, then all well again."""
    drawn = [(fault, chance.uniform(0.5, 8.0)) for fault in chance.sample(faults, chance.choice((1, 1, 2)))]
    print("      " + ", ".join(f"{fault.name} {seconds:.1f} s" for fault, seconds in drawn), flush=True)
    if any(fault.ends_process for fault, _ in drawn):  # a process that is away cannot suffer anything else
        drawn = [each for each in drawn if each[0].ends_process][:1]
    await asyncio.gather(*(fault.suffer(place, seconds) for fault, seconds in drawn))
    await place.until_well()
    await asyncio.sleep(chance.uniform(0.0, 2.0))
    await place.add_up()


async def grow_up(place: Post, faults: list[Fault]) -> None:
    """Hear so much that what remembers the last frames is full, and suffer each fault, before memory is compared."""
    pace, place.pace = place.pace, FILLING_PACE
    await asyncio.sleep(FILLING_SECONDS)
    place.pace = pace
    for fault in faults:
        await fault.suffer(place, FIRST_ROUND_SECONDS)
    await place.until_well()
    print("      every fault, once", flush=True)


async def soak(minutes: float, draw: int, folder: Path) -> bool:
    """Whether nothing was wrong."""
    chance, readings = random.Random(draw), list[Reading]()
    began = time.monotonic()
    lasting = [fault for fault in FAULTS if not fault.ends_process]
    async with post(folder) as place:
        watching = asyncio.create_task(keep_reading(place, began, readings))
        first = min(FIRST_MINUTES, minutes / 4)
        for part_minutes, faults in ((first, FAULTS), (minutes, lasting), (first, FAULTS)):
            since = time.monotonic()
            if faults is lasting:
                since = place.started
                await grow_up(place, faults)
            while time.monotonic() - since < part_minutes * 60:
                await step(place, chance, faults)
        watching.cancel()
        place.quiet = True
        await place.end(signal.SIGTERM)
        print(place.check_journal())
    return _tell(place, readings)


def _tell(place: Post, readings: list[Reading]) -> bool:
    books = place.books
    print(f"{len(books.arrived)} of {len(books.said)} frames went up, the slowest in {books.worst_seconds:.2f} s")
    oldest = max(readings, key=lambda each: each.age_minutes, default=None)
    grown_up = [
        each for each in readings if oldest and each.process == oldest.process and each.age_minutes >= GROWN_UP_MINUTES
    ]
    if grown_up:
        then, now = grown_up[0], statistics.median(each.memory_mb for each in grown_up[-3:])
        grown = now - then.memory_mb
        print(
            f"memory of process {then.process}: {then.memory_mb:.1f} MB at {then.age_minutes:.1f} min of age, "
            f"{now:.1f} at {grown_up[-1].age_minutes:.1f} (median of the last three): {grown:+.1f} MB"
        )
        if grown > MOST_GROWTH_MB:
            books.note(f"memory grew by {grown:.1f} MB")
    for wrong in books.wrong:
        print(f"wrong: {wrong}")
    print("nothing was wrong" if not books.wrong else f"{len(books.wrong)} things were wrong")
    return not books.wrong


def main() -> int:
    """The command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--minutes", type=float, default=45.0)
    parser.add_argument("--draw", type=int, default=random.SystemRandom().randrange(1 << 20))
    chosen = parser.parse_args()
    clocks = "" if HAS_FAKETIME else "; clocks do not jump, for want of libfaketime"
    print(f"draw {chosen.draw}, {chosen.minutes:g} minutes{clocks}", flush=True)
    with tempfile.TemporaryDirectory(prefix="soak-") as folder:
        return 0 if asyncio.run(soak(chosen.minutes, chosen.draw, Path(folder))) else 1


if __name__ == "__main__":
    sys.exit(main())
