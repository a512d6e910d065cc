"""Station memory: what was last heard of every station, within bounds. No I/O, no clock."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from itertools import takewhile

from gateway.bounded import BoundedMapping
from gateway.duration import DAY_MS
from gateway.feed.heard_object import HeardPayload
from gateway.feed.latest import Latest
from gateway.frames.header import is_network_callsign
from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged


@dataclass(slots=True)
class Station:
    """What is remembered of one source. Times are Unix milliseconds."""

    source: str
    last: HeardPayload
    """The frame that was heard last."""

    first_heard_ms: int
    frames: int = 0
    """How many were heard since `first_heard_ms`, copies and kept ones too."""

    last_direct_ms: int | None = None
    """When it was last heard without a repeater and without a relay; None: never."""

    latest: Latest | None = None
    """What it last said, kind by kind; None: it is not one of those that are followed."""

    def to_object(self) -> PlainObject:
        """What a station's topic holds beside its last heard object, under `memory`."""
        plain: PlainObject = {
            "frames": self.frames,
            "first_heard": rfc3339(self.first_heard_ms),
            "heard_direct": self.last_direct_ms is not None,
        }
        if self.last_direct_ms is not None:
            plain["last_heard_direct"] = rfc3339(self.last_direct_ms)
        return plain if self.latest is None else plain | self.latest.to_object()


class Stations:
    """The stations heard lately: at most `limit`, the least recently heard is evicted for a new one.

    A source that the network would not take as a callsign is no station: what the air can make up without end, or
    what would be odd in a topic or a file name, is not remembered.
    """

    def __init__(self, limit: int = 5000, forget_ms: int = DAY_MS, followed: Collection[str] = ()) -> None:
        """Of those `followed` the reports are read and kept, too."""
        self.forget_ms = forget_ms
        self.on_forgotten: list[Callable[[str], None]] = []
        """Told of every source that is remembered no longer, evicted or forgotten."""

        self._followed = frozenset(followed)
        self._stations = BoundedMapping[str, Station](limit, self._tell)

    def __len__(self) -> int:
        return len(self._stations)

    def __contains__(self, source: object) -> bool:
        return source in self._stations

    def __iter__(self) -> Iterator[Station]:
        """Every station, the least recently heard first."""
        return iter(self._stations.values())

    def get(self, source: str) -> Station | None:
        """What is remembered of `source`."""
        return self._stations.get(source)

    def hear(self, payload: HeardPayload) -> None:
        """Remember a frame as the last of its station, where it has one."""
        judged = payload.judged
        frame = judged.innermost
        if frame is None:
            return
        time_ms = judged.heard.moment.time_ms
        station = self._stations.renew(frame.source)
        if station is not None:
            station.last = payload
        elif is_network_callsign(frame.source):
            station = self._stations[frame.source] = Station(frame.source, payload, time_ms)
            station.latest = Latest() if frame.source in self._followed else None
        else:
            return
        station.frames += 1
        if is_direct(judged):
            station.last_direct_ms = time_ms
        if station.latest is not None:
            station.latest.hear(judged, payload.report() or {})

    def heard_since(self, elapsed_ms: int) -> int:
        """How many of those remembered were heard at this time or later."""
        heard_lately = takewhile(
            lambda station: station.last.judged.heard.moment.elapsed_ms >= elapsed_ms, reversed(self._stations.values())
        )
        return sum(1 for _ in heard_lately)

    def forget(self, elapsed_ms: int) -> None:
        """Forget who was not heard for `forget_ms`, now being `elapsed_ms`."""
        while self._stations:
            source, station = next(iter(self._stations.items()))
            if elapsed_ms - station.last.judged.heard.moment.elapsed_ms < self.forget_ms:
                break
            del self._stations[source]
            self._tell(source)

    def _tell(self, source: str) -> None:
        for tell in self.on_forgotten:
            tell(source)


def is_direct(judged: Judged) -> bool:
    """Whether the station's own transmission was heard: no repeater used on the radio path, and no relay."""
    frame = judged.innermost
    return frame is not None and frame is judged.heard.frame and frame.header.hops == 0
