"""How the cost of a frame grows: with the callsigns that a policy lists, the stations heard, and the receivers.

Read, judged, watched and remembered as in a gateway, no socket, and published where that is said: every sink but the
text port asks for it. Memories are full, or hold every station and receiver.
"""

import gc
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import ax25, tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.watches.watches import Watches
from tests.bench.figures import Effort, Figure, in_turn, microseconds, ratio
from tests.bench.judging import listing, policy_of
from tests.bench.memory import line

FRAMES = 20_000
AT_A_TIME = 100
NOON_MS = 1_780_747_200_000
POST = Post("QX1GAT-10", 58.6, -3.9167)
FEW_STATIONS, MANY_STATIONS = 100, 100_000
FEW_RECEIVERS, MANY_RECEIVERS = 1, 64
FILLED = 20_000
"""After frames of so many stations every memory of headers and stations is full: the largest holds 5000."""


@dataclass(frozen=True, slots=True)
class Octets:
    """A frame as it comes, with what the receiver knows of it."""

    sequence: int
    receiver: str
    octets: bytes


class Way:
    """The parts of a gateway through which every frame goes, and what it heard so far."""

    def __init__(self, policy: CompiledPolicy, stations: int, receivers: int, *, publishes: bool = False) -> None:
        self._publishes = publishes
        self._names = [f"rx{number}" for number in range(receivers)]
        self._judge = Judge(policy)
        self._reader = ReportReader(POST)
        self._memory = Stations()
        self._watches = Watches([], self._names, POST, self._reader, Moment(0, NOON_MS))
        self._stations = stations
        self._sequence = 0
        self.take(FILLED)

    def take(self, count: int) -> float:
        """Take in so many frames more; seconds of the processor for each."""
        frames = [self._next() for _ in range(count)]
        gc.collect()
        gc.disable()
        began = time.thread_time()
        for first in range(0, count, AT_A_TIME):
            self._hear(frames[first : first + AT_A_TIME])
        taken = time.thread_time() - began
        gc.enable()
        return taken / count

    def _hear(self, frames: Sequence[Octets]) -> None:
        payloads = [HeardPayload(self._judge.judge(_read(frame)), self._reader) for frame in frames]
        for payload in payloads:
            self._reader.telemetry.hear(payload.judged)
            self._memory.hear(payload)
        self._watches.hear(payloads)
        if self._publishes:
            for payload in payloads:
                payload.encoded()

    def _next(self) -> Octets:
        number, self._sequence = self._sequence, self._sequence + 1
        receiver = self._names[number // self._stations % len(self._names)]
        frame = tnc2.read(line(number, self._stations))
        assert isinstance(frame, Frame)
        return Octets(number + 1, receiver, ax25.write(frame))


def _read(frame: Octets) -> Heard:
    elapsed_ms = frame.sequence * 50
    moment = Moment(elapsed_ms, NOON_MS + elapsed_ms)
    return Heard("growth", frame.sequence, moment, frame.receiver, 0, ax25.read(frame.octets))


def grown(few: Way, many: Way, effort: Effort) -> dict[str, list[float]]:
    """Seconds for each frame of both, in turn."""
    count = effort.of(FRAMES)
    sides: dict[str, Callable[[], float]] = {"few": partial(few.take, count), "many": partial(many.take, count)}
    return in_turn(effort.turns, sides)


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each thing that there may be many of."""
    one_rule, nothing_listed = policy_of(listing(1, 10)), policy_of("")
    plain = partial(Way, nothing_listed)
    pairs: dict[str, Callable[[], tuple[Way, Way]]] = {
        "callsigns listed, 10 to 100,000": lambda: (
            Way(one_rule, FEW_STATIONS, 1),
            Way(policy_of(listing(1, 100_000)), FEW_STATIONS, 1),
        ),
        "stations, 100 to 100,000": lambda: (plain(FEW_STATIONS, 1), plain(MANY_STATIONS, 1)),
        "stations, 100 to 100,000, published": lambda: (
            plain(FEW_STATIONS, 1, publishes=True),
            plain(MANY_STATIONS, 1, publishes=True),
        ),
        "receivers, 1 to 64": lambda: (plain(FEW_STATIONS, FEW_RECEIVERS), plain(FEW_STATIONS, MANY_RECEIVERS)),
    }
    for name, pair in pairs.items():
        seconds = grown(*pair(), effort)
        yield ratio(name, seconds["many"], seconds["few"], microseconds, "few")
