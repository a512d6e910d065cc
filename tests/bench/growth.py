"""How the cost of a frame grows: with the callsigns that a policy lists, the stations heard, and the receivers.

Judged, watched and remembered as in a gateway, no socket. Memories are full, or hold every station and receiver.
"""

import gc
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import tnc2
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


class Way:
    """The parts of a gateway through which every frame goes, and what it heard so far."""

    def __init__(self, policy: CompiledPolicy, stations: int, receivers: int) -> None:
        self._names = [f"rx{number}" for number in range(receivers)]
        self._judge = Judge(policy)
        self._reader = ReportReader(POST)
        self._memory = Stations()
        self._watches = Watches([], self._names, POST, self._reader, Moment(0, NOON_MS))
        self._stations = stations
        self._sequence = 0
        self.take(min(max(stations, FEW_STATIONS * receivers), FILLED))

    def take(self, count: int) -> float:
        """Take in so many frames more; seconds of the processor for each."""
        heard = [self._next() for _ in range(count)]
        gc.collect()
        gc.disable()
        began = time.thread_time()
        for first in range(0, count, AT_A_TIME):
            self._hear(heard[first : first + AT_A_TIME])
        taken = time.thread_time() - began
        gc.enable()
        return taken / count

    def _hear(self, heard: Sequence[Heard]) -> None:
        payloads = [HeardPayload(self._judge.judge(one), self._reader) for one in heard]
        for payload in payloads:
            self._reader.hear(payload.judged)
            self._memory.hear(payload)
        self._watches.hear(payloads)

    def _next(self) -> Heard:
        number, self._sequence = self._sequence, self._sequence + 1
        moment = Moment(number * 50, NOON_MS + number * 50)
        receiver = self._names[number // self._stations % len(self._names)]
        return Heard("growth", number + 1, moment, receiver, 0, tnc2.read(line(number, self._stations)))


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
        "receivers, 1 to 64": lambda: (plain(FEW_STATIONS, FEW_RECEIVERS), plain(FEW_STATIONS, MANY_RECEIVERS)),
    }
    for name, pair in pairs.items():
        seconds = grown(*pair(), effort)
        yield ratio(name, seconds["many"], seconds["few"], microseconds, "few")
