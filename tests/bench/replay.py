"""How many frames of a capture a second are read and judged, and in how much memory.

One process makes heard objects and writes them into a pipe; another, on the other core, replays them as `stile replay`
does. Its own seconds on the processor count, and its greatest memory beyond what it had when everything was imported.
For comparison: the same objects through `json.loads` alone, and the judgement alone of the frames in them.

Run it from the tree: `.venv/bin/python tests/bench/replay.py`; a month of a busy post: `--frames 5000000`.
"""

import argparse
import contextlib
import io
import itertools
import json
import math
import multiprocessing
import os
import random
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from pathlib import Path

from gateway import policy_files
from gateway.commands import replaying
from gateway.frames.plain import rfc3339
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.replay.captures import STANDARD_INPUT
from gateway.replay.record import record_of

NOON_MS = 1_780_747_200_000
FRAMES_A_RUN = 200_000
"""The gateway starts anew about once a day."""

MILLISECONDS_APART = 500
SAMPLE = 100_000
TIMES = 5
CHUNK = 512
POST = Post("QX1GAT-10", 58.6, -3.9167)

CALM = """version: 1
name: calm
rules: [{name: bench, when: {source: "QZ9*"}, then: keep}]
rates:
  - {name: one-station, allow: 20 per hour, burst: 3}
  - {name: metered, per: everything, allow: 10 MB per day, reserve: {for: [message, weather], share: 25%}}
"""


_OBJECT = (
    '{"run":"run-%d","sequence":%d,"elapsed_ms":%d,"time":"%s","receiver":"vhf","source":"QA%dX-%d","destination":"APRS",'
    '"path":["QD1AA*","WIDE2-1"],"information":"!5836.%02dN/00355.%02dW>under way, frame %d","verdict":"forward",'
    '"policy":"receive-only@000000","report":{"kind":"position","written":"plain-text","latitude":58.601667,'
    '"longitude":-3.916667,"ambiguity":0,"symbol":"/>","comment":"under way","distance_km":1.2,"bearing_deg":171.3}}\n'
)


def heard_objects(frames: int, stations: int) -> Iterator[bytes]:
    """A busy post: many stations, some of them most of the time, and a fifth of all frames are copies."""
    chance = random.Random(1)
    what = (0, 1, 0, 0, 0)
    for number in range(frames):
        run, sequence = divmod(number, FRAMES_A_RUN)
        if chance.random() > 0.2:
            station = int(stations * chance.random() ** 4)
            says = number if station % 3 else station
            what = (station, station % 15 + 1, says % 100, says // 100 % 100, says)
        when = (run, sequence + 1, sequence * MILLISECONDS_APART, rfc3339(NOON_MS + number * MILLISECONDS_APART))
        yield (_OBJECT % (*when, *what)).encode("ascii")


def write_them(frames: int, stations: int, into: Connection) -> None:
    """Make a capture, into a pipe."""
    pin(1)
    objects = heard_objects(frames, stations)
    with os.fdopen(os.dup(into.fileno()), "wb") as pipe:
        into.close()
        while chunk := b"".join(itertools.islice(objects, CHUNK)):
            pipe.write(chunk)


def replay_them(source: Connection, request: replaying.Request, result: Connection) -> None:
    """Replay what comes through the pipe; tell the seconds that took, and the octets of memory."""
    pin(0)
    sys.stdin = io.TextIOWrapper(os.fdopen(os.dup(source.fileno()), "rb"))
    before = greatest_memory()
    began = time.process_time()
    replaying.Replaying(request, io.StringIO()).run(Nowhere())
    result.send((time.process_time() - began, greatest_memory() - before))


class Nowhere(io.StringIO):
    """Lets go by what is printed: the list of the frames that differ is long."""

    def write(self, text: str) -> int:
        """Nothing is kept."""
        return len(text)


def greatest_memory() -> int:
    """Octets that this process had at the most since it was begun (Linux, proc_pid_status(5))."""
    status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text("ascii").splitlines())
    return int(status["VmHWM"].removesuffix("kB")) * 1024


def measure(name: str, frames: int, stations: int, request: replaying.Request) -> None:
    """One replay of so many frames."""
    context = multiprocessing.get_context("spawn")
    source, into = context.Pipe(duplex=False)
    result, told = context.Pipe(duplex=False)
    writer = context.Process(target=write_them, args=(frames, stations, into))
    reader = context.Process(target=replay_them, args=(source, request, told))
    reader.start()
    writer.start()
    source.close()
    into.close()
    seconds, octets = result.recv()
    reader.join()
    writer.join()
    print(f"{name:44} {frames / seconds:9,.0f} frames/s, {octets / 1e6:6.1f} MB more at the most")


def side_by_side(stations: int) -> None:
    """Parsing, reading and judging the same objects, each alone, in turn; the quickest of several times counts."""
    lines = list(heard_objects(SAMPLE, stations))
    heard = [record_of(json.loads(line)).heard for line in lines]
    policy = policy_files.load("receive-only", POST, beside=Path()).compiled(POST)
    steps: dict[str, Callable[[], object]] = {
        "json.loads alone": lambda: deque(map(json.loads, lines), maxlen=0),
        "reading alone: json.loads, then the frame": lambda: deque(map(record_of, map(json.loads, lines)), maxlen=0),
        "judgement alone": lambda: deque(map(Judge(policy).judge, heard), maxlen=0),
    }
    quickest = dict.fromkeys(steps, math.inf)
    for name in list(steps) * TIMES:
        began = time.process_time()
        steps[name]()
        quickest[name] = min(quickest[name], time.process_time() - began)
    for name, seconds in quickest.items():
        print(f"{name:44} {SAMPLE / seconds:9,.0f} frames/s")


def pin(core: int) -> None:
    """Keep this process on one core, where the system lets it choose."""
    with contextlib.suppress(AttributeError, OSError):
        os.sched_setaffinity(0, {core})


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=1_000_000)
    parser.add_argument("--stations", type=int, default=1000)
    options = parser.parse_args()
    side_by_side(options.stations)
    with tempfile.TemporaryDirectory() as folder:
        calm = Path(folder, "calm.yaml")
        calm.write_text(CALM)
        piped = (STANDARD_INPUT,)
        ready = "receive-only"
        for name, request in (
            ("replay by one policy", replaying.Request(piped, ready)),
            ("replay by two, each difference listed", replaying.Request(piped, str(calm), against=ready, as_json=True)),
        ):
            measure(name, options.frames, options.stations, request)


if __name__ == "__main__":
    main()
