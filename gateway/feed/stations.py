"""Station memory: what was last heard of every station, within bounds. No I/O, no clock."""

from collections import OrderedDict
from collections.abc import Iterator
from dataclasses import dataclass

from gateway.feed.heard_object import relayed_by
from gateway.frames.frame import Damaged
from gateway.frames.header import is_network_callsign
from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged

DAY_MS = 86_400_000


@dataclass(slots=True)
class Station:
    """What is remembered of one source. Times are Unix milliseconds."""

    source: str
    last: Judged
    """The frame that was heard last."""

    first_heard_ms: int
    frames: int = 0
    """How many were heard since `first_heard_ms`, copies and kept ones too."""

    last_direct_ms: int | None = None
    """When it was last heard without a repeater and without a relay; None: never."""

    def to_object(self) -> PlainObject:
        """What a station's topic holds beside its last heard object, under `memory`."""
        plain: PlainObject = {
            "frames": self.frames,
            "first_heard": rfc3339(self.first_heard_ms),
            "heard_direct": self.last_direct_ms is not None,
        }
        if self.last_direct_ms is not None:
            plain["last_heard_direct"] = rfc3339(self.last_direct_ms)
        return plain


class Stations:
    """The stations heard lately: at most `limit`, the least recently heard is evicted for a new one.

    A source that the network would not take as a callsign is no station: what the air can make up without end, or
    what would be odd in a topic or a file name, is not remembered.
    """

    def __init__(self, limit: int = 5000, forget_ms: int = DAY_MS) -> None:
        self.limit = limit
        self.forget_ms = forget_ms
        self._stations: OrderedDict[str, Station] = OrderedDict()

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

    def hear(self, judged: Judged) -> tuple[Station | None, str | None]:
        """Remember `judged`. Returns its station, where it has one, and the source that was evicted for it, if any."""
        frame = judged.innermost
        if frame is None:
            return None, None
        time_ms = judged.heard.moment.time_ms
        station = self._stations.get(frame.source)
        evicted = None
        if station is not None:
            self._stations.move_to_end(frame.source)
            station.last = judged
        elif is_network_callsign(frame.source):
            station = self._stations[frame.source] = Station(frame.source, judged, time_ms)
            if len(self._stations) > self.limit:
                evicted, _ = self._stations.popitem(last=False)
        else:
            return None, None
        station.frames += 1
        if _is_direct(judged):
            station.last_direct_ms = time_ms
        return station, evicted

    def forget(self, elapsed_ms: int) -> list[str]:
        """Forget who was not heard for `forget_ms`, now being `elapsed_ms`; returns the sources forgotten."""
        forgotten = []
        for source, station in self._stations.items():
            if elapsed_ms - station.last.heard.moment.elapsed_ms < self.forget_ms:
                break
            forgotten.append(source)
        for source in forgotten:
            del self._stations[source]
        return forgotten


def _is_direct(judged: Judged) -> bool:
    """Whether the station's own transmission was heard: no repeater used on the radio path, and no relay."""
    frame = judged.heard.frame
    return not isinstance(frame, Damaged) and frame.header.hops == 0 and relayed_by(judged) is None
