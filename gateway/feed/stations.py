"""Station memory: what was last heard of every station, within bounds. No I/O, no clock."""

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from itertools import takewhile
from typing import Any

from gateway.feed.heard_object import HeardPayload
from gateway.feed.last_day import HIGHEST_TIME_MS, LastDay, last_day_from
from gateway.feed.latest import Latest, latest_from
from gateway.frames.header import is_network_callsign
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject, rfc3339
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.remembered import FRAMES, Past, Shelves, listed
from gateway.judge.verdict import Judged


@dataclass(slots=True)
class Station:
    """What is remembered of one source. Times are Unix milliseconds."""

    source: str
    last: HeardPayload
    first_heard_ms: int
    frames: int = 0
    """How many were heard since `first_heard_ms`, copies and kept ones too."""

    last_direct_ms: int | None = None
    """When it was last heard without a repeater and without a relay; None: never."""

    latest: Latest | None = None
    """What it last said, kind by kind; None: it is not one of those that are followed."""

    by_hour: LastDay = field(default_factory=LastDay)

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

    They outlive a restart, as `remembered.Remembered` has it; their last frames are kept anyway, and are named.
    """

    name = "stations"
    version = 1
    every_ms = 1_800_000

    def __init__(self, limit: int = 5000, forget_ms: int = DAY_MS, followed: Collection[str] = ()) -> None:
        """Of those `followed` the reports are read and kept, too."""
        self.forget_ms = forget_ms
        self.on_forgotten: list[Callable[[str], None]] = []
        """Told of every source that is remembered no longer, evicted or forgotten."""

        self.revision = 0
        self._is_in_order = True
        self._followed = frozenset(followed)
        self._stations = BoundedMapping[str, Station](limit, self._leave)
        self._shelves = Shelves[str](limit)

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
            station = self._enter(Station(frame.source, payload, time_ms))
            station.latest = Latest() if frame.source in self._followed else None
        else:
            return
        self.revision += 1
        station.frames += 1
        station.by_hour.count(time_ms)
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
        self.put_in_order()
        while self._stations:
            source, station = next(iter(self._stations.items()))
            if elapsed_ms - station.last.judged.heard.moment.elapsed_ms < self.forget_ms:
                break
            del self._stations[source]
            self._leave(source)

    def dump(self) -> Iterator[PlainObject]:
        """Every station, in no order: its last frame by name, and what is known beside it."""
        for sources in self._shelves.pieces():
            stations = [station for source in sources if (station := self._stations.get(source)) is not None]
            last = [station.last.judged.heard for station in stations]
            yield {FRAMES: [[heard.run, heard.sequence] for heard in last], "stations": list(map(_entry_of, stations))}

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:
        """Take stations in. One whose last frame is kept no longer is forgotten."""
        for entry, last in zip(listed(piece.get("stations")), past.frames, strict=False):
            match entry:
                case [int(first_ms), int(frames), int() | None as direct_ms, latest, *more] if last is not None:
                    station = self._put(last, Memory(first_ms, frames, direct_ms), latest_from(latest))
                    if station is not None and more:  # dumps of older versions lack it
                        station.by_hour = last_day_from(more[0])

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart: it counts, unless it was counted when its station was dumped."""
        self.put_in_order()
        frame = heard.judged.innermost
        station = None if frame is None else self._stations.get(frame.source)
        if station is not None:
            last, this = station.last.judged.heard, heard.judged.heard
            if last.run == this.run and last.sequence >= this.sequence:
                return
        self.hear(heard)

    def adopt(self, last: HeardPayload, memory: "Memory", latest: Latest) -> Station | None:
        """Take in a station that somebody else remembers; its frame's moment is in this run's time.

        None where that cannot be: it makes no other station leave. Of one that was first heard in this run the
        memories are joined.
        """
        frame = last.judged.innermost
        station = None if frame is None else self._stations.get(frame.source)
        if station is None:
            return None if len(self._stations) >= self._stations.limit else self._put(last, memory, latest)
        is_older = memory.is_plausible and memory.first_heard_ms < station.first_heard_ms
        if is_older and station.last.judged.heard.run != last.judged.heard.run:
            station.first_heard_ms = memory.first_heard_ms
            station.frames += memory.frames
            station.last_direct_ms = station.last_direct_ms or memory.last_direct_ms
        return station

    def put_in_order(self) -> None:
        """After stations were adopted or restored: those heard longest ago come first again."""
        if not self._is_in_order:
            self._is_in_order = True
            for station in sorted(self, key=_place_in_order):
                self._stations.move_to_end(station.source)

    def _put(self, last: HeardPayload, memory: "Memory", latest: Latest) -> Station | None:
        frame = last.judged.innermost
        if frame is None or not is_network_callsign(frame.source) or not memory.is_plausible:
            return None
        self._is_in_order = False
        followed = latest if frame.source in self._followed else None
        return self._enter(
            Station(frame.source, last, memory.first_heard_ms, memory.frames, memory.last_direct_ms, followed)
        )

    def _enter(self, station: Station) -> Station:
        self._shelves.put(station.source)
        self._stations[station.source] = station
        return station

    def _leave(self, source: str) -> None:
        self._shelves.take(source)
        for tell in self.on_forgotten:
            tell(source)


@dataclass(frozen=True, slots=True)
class Memory:
    """What is known of a station beside its last frame. Times are Unix milliseconds."""

    first_heard_ms: int
    frames: int
    last_direct_ms: int | None

    @property
    def is_plausible(self) -> bool:
        """Whether it can be so: it may come from a file or a broker."""
        times = (self.first_heard_ms, self.last_direct_ms or 0)
        return 1 <= self.frames <= HIGHEST_NUMBER and all(0 <= time_ms <= HIGHEST_TIME_MS for time_ms in times)


def _place_in_order(station: Station) -> tuple[int, int]:
    """Frames of one read have the same time: their numbers tell which came first."""
    last = station.last.judged.heard
    return last.moment.elapsed_ms, last.sequence


def _entry_of(station: Station) -> list[object]:
    latest = None if station.latest is None else station.latest.dumped()
    return [station.first_heard_ms, station.frames, station.last_direct_ms, latest, station.by_hour.dumped()]


def is_direct(judged: Judged) -> bool:
    """Whether the station's own transmission was heard: no repeater used on the radio path, and no relay."""
    frame = judged.innermost
    return frame is not None and frame is judged.heard.frame and frame.header.hops == 0
