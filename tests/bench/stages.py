"""Where a frame's time goes, stage by stage from octets to octets, beside one `json.loads` of its heard object.

No socket, no thread: the code alone, a hundred frames at a time as one read brings them, headers known.
"""

import json
import time
from collections.abc import Callable, Iterator, Sequence

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import ax25, tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Heard, Run
from gateway.frames.network_line import line_of, route
from gateway.journal.batch import row_of
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.verdict import Judged
from gateway.reports import to_object
from gateway.reports.reading import read
from gateway.settings import policy_files
from gateway.watches.watches import Watches
from tests.bench.ends import line
from tests.bench.figures import Effort, Figure, in_turn, microseconds, ratio

POST = Post("QX1GAT-10", 58.6, -3.9167)
RECEIVER = "vhf"
FRAMES = 5000
AT_A_TIME = 100
HEADERS = 1500
"""As many as there are: they are known after so many frames."""


class Way:
    """The way of frames through one gateway's parts."""

    def __init__(self) -> None:
        self._run = Run()
        self._reader = ReportReader(POST)
        self._watches = Watches([], [RECEIVER], POST, self._reader, self._run.now())
        self._stations = Stations()
        policy = policy_files.load("receive-only", POST, beside=policy_files.ready_policies())
        self._judge = Judge(policy.compiled(POST))
        self._added = route(POST.callsign)
        self._next = 0
        self.seconds: dict[str, float] = {}

    def go(self) -> None:
        """Take another hundred frames through it."""
        first, self._next = self._next, self._next + AT_A_TIME
        frames = (tnc2.read(line(number)) for number in range(first, first + AT_A_TIME))
        octets = [ax25.write(frame) for frame in frames if isinstance(frame, Frame)]
        moment = self._run.now()

        def hear(frame: Frame | Damaged) -> Heard:
            return self._run.hear(moment, RECEIVER, 0, frame)

        read_frames = self._took("AX.25 is read", ax25.read, octets)
        heard = self._took("heard", hear, read_frames)
        judged = self._took("judged", self._judge.judge, heard)
        frames_of_all = self._took("network line", self._payload, judged)
        self._took("watched", self._watches.hear, [frames_of_all])
        self._took("station memory", self._stations.hear, frames_of_all)
        self._took("its report is read", lambda one: read(_destination(one), one.information), judged)
        reports = [read(_destination(one), one.information) for one in judged]
        self._took("the report's object", to_object, reports)
        self._took("heard object as JSON, all of it", HeardPayload.encoded, frames_of_all)
        self._took("monitor text", HeardPayload.monitor_text, frames_of_all)
        self._took("forwarded object", lambda payload: payload.forwarded(0), frames_of_all)
        self._took("journal's row", lambda payload: row_of(payload.judged, payload.encoded()), frames_of_all)
        self._took("json.loads", lambda payload: json.loads(payload.encoded()), frames_of_all)

    def _took(self, stage: str, step: Callable, items: Sequence) -> list:  # type: ignore[type-arg] # any step
        began = time.thread_time()
        done = [step(item) for item in items]
        self.seconds[stage] = self.seconds.get(stage, 0.0) + time.thread_time() - began
        return done

    def _payload(self, judged: Judged) -> HeardPayload:
        frame = judged.innermost
        text = b"" if frame is None else line_of(frame.header, judged.information, self._added)
        return HeardPayload(judged, self._reader, text)


def _destination(judged: Judged) -> str:
    return "" if judged.innermost is None else judged.innermost.destination


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each stage."""
    way, frames = Way(), max(effort.of(FRAMES), AT_A_TIME)

    def turn() -> float:
        way.seconds.clear()
        for _ in range(0, frames, AT_A_TIME):
            way.go()
        for stage, seconds in way.seconds.items():
            taken.setdefault(stage, []).append(seconds / frames)
        return 0.0

    taken: dict[str, list[float]] = {}
    for _ in range(HEADERS // AT_A_TIME):
        way.go()
    in_turn(effort.turns, {"way": turn})
    baseline = taken.pop("json.loads")
    for stage, seconds in taken.items():
        yield ratio(stage, seconds, baseline, microseconds, "json.loads")
