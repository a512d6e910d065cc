"""Frames of a capture a second that `stile replay` reads and judges, beside `json.loads` alone, and its memory.

One process makes heard objects and writes them into a pipe; another, on the other core, replays them. Its own seconds
of the processor count, and its greatest memory beyond what it had when everything was imported.
"""

import io
import itertools
import json
import multiprocessing
import os
import random
import sys
import tempfile
import time
from collections import deque
from collections.abc import Callable, Iterator
from functools import partial
from multiprocessing.connection import Connection
from pathlib import Path

from gateway.commands import replaying
from gateway.frames.plain import rfc3339
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.replay.captures import STANDARD_INPUT
from gateway.replay.contender import Contender
from gateway.replay.read_ahead import ReadAhead
from gateway.replay.record import record_of
from gateway.replay.replay import Replay
from gateway.settings import policy_files
from tests.bench.figures import Effort, Figure, in_turn, per_second, ratio
from tests.bench.processes import pin

NOON_MS = 1_780_747_200_000
FRAMES_A_RUN = 200_000
"""The gateway starts anew about once a day."""

MILLISECONDS_APART = 500
SAMPLE = 20_000
FRAMES = 100_000
STATIONS = 1000
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


def replayed(frames: int, request: replaying.Request) -> tuple[float, int]:
    """Frames a second of one replay, and the octets of memory that it took."""
    context = multiprocessing.get_context("spawn")
    source, into = context.Pipe(duplex=False)
    result, told = context.Pipe(duplex=False)
    writer = context.Process(target=write_them, args=(frames, STATIONS, into))
    reader = context.Process(target=replay_them, args=(source, request, told))
    reader.start()
    writer.start()
    source.close()
    into.close()
    seconds, octets = result.recv()
    reader.join()
    writer.join()
    return frames / seconds, octets


def steps() -> dict[str, Callable[[], object]]:
    """Parsing, reading and judging the same objects, each alone."""
    lines = list(heard_objects(SAMPLE, STATIONS))
    heard = [record_of(json.loads(line)).heard for line in lines]
    policy = policy_files.load("receive-only", POST, beside=Path()).compiled(POST)
    return {
        "json.loads": lambda: deque(map(json.loads, lines), maxlen=0),
        "reading alone": lambda: deque(map(record_of, map(json.loads, lines)), maxlen=0),
        "judging alone": lambda: deque(map(Judge(policy).judge, heard), maxlen=0),
    }


def read_ahead(capture: Path, frames: int) -> float:
    """Frames a second of the process that judges, where another one reads."""
    policy = policy_files.load("receive-only", POST, beside=Path()).compiled(POST)
    began = time.process_time()
    deque(Replay(ReadAhead([capture]), Contender("receive-only", policy)), maxlen=0)
    return frames / (time.process_time() - began)


def rate(step: Callable[[], object]) -> float:
    """Frames a second of the processor."""
    began = time.thread_time()
    step()
    return SAMPLE / (time.thread_time() - began)


def measure(effort: Effort) -> Iterator[Figure]:
    """Each step, and whole replays."""
    with tempfile.TemporaryDirectory() as folder:
        calm = Path(folder, "calm.yaml")
        calm.write_text(CALM)
        piped = (STANDARD_INPUT,)
        ready = "receive-only"
        requests = {
            "by one policy": replaying.Request(piped, ready),
            "by two, each difference listed": replaying.Request(piped, str(calm), against=ready, as_json=True),
        }
        frames = effort.of(FRAMES)
        most = dict.fromkeys(requests, 0)

        def replay(name: str) -> float:
            frames_a_second, octets = replayed(frames, requests[name])
            most[name] = max(most[name], octets)
            return frames_a_second

        capture = Path(folder, "capture")
        capture.write_bytes(b"".join(heard_objects(frames, STATIONS)))
        alone = {name: partial(rate, step) for name, step in steps().items()}
        whole = {name: partial(replay, name) for name in requests}
        ahead = {"judging what another process reads": partial(read_ahead, capture, frames)}
        rates = in_turn(effort.turns, {**alone, **whole, **ahead})
    for name in list(rates)[1:]:
        yield ratio(name, rates[name], rates["json.loads"], per_second("frames"), "json.loads")
    for name, octets in most.items():
        yield Figure(f"memory, {name}", octets / 1e6, "MB above imports")
