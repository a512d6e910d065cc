"""How far the antenna reaches: what it heard lately without any help, and how far away the farthest was. No clock."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gateway.feed.heard_object import HeardPayload, Reader
from gateway.feed.last_day import HIGHEST_TIME_MS
from gateway.feed.reader import OF_THE_SENDER
from gateway.frames.header import is_network_callsign
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject, rfc3339
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.groundwork.remembered import Past, listed, pieces_of
from gateway.history.distances import FARTHEST_M
from gateway.judge.verdict import Judged

LOOKED_AT = 64
"""Frames that are read for their place at one time: of more, the newest. It takes a few milliseconds."""

FARTHEST_KM = 20_040
"""Half the earth's girth: no two places are farther from each other."""


@dataclass(frozen=True, slots=True)
class Reach:
    """How far the antenna reached in the last hour."""

    direct_last_hour: int
    """Stations heard without a repeater and without a relay."""

    farthest_km: float | None
    """To the farthest place that one of them gave as its own; None: none did, or the post does not know its own."""

    today: "Farthest | None" = None
    """The farthest of this day of UTC; None: there is none yet."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        plain: PlainObject = {"direct_last_hour": self.direct_last_hour}
        if self.farthest_km is not None:
            plain["farthest_km"] = self.farthest_km
        if self.today is not None:
            plain["today"] = self.today.to_object()
        return plain


@dataclass(frozen=True, slots=True, order=True)
class Farthest:
    """The farthest station that was heard direct on one day of UTC."""

    day: int
    """Since 1970."""

    distance_km: float
    time_ms: int
    source: str

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {"farthest_km": self.distance_km, "station": self.source, "time": rfc3339(self.time_ms)}


@dataclass(slots=True)
class _Direct:
    """A station that was heard by itself."""

    elapsed_ms: int
    distance_km: float | None = None


class ReachWatch:
    """Remembers the stations heard direct in the last hour, `limit` at most: past it, those heard last.

    Reports are read from time to time, not when they are heard: a frame on its way up does not wait for it. What is
    known outlives a restart, as `remembered.Remembered` has it.
    """

    name = "reach"
    version = 1
    every_ms = 1_800_000

    def __init__(self, reader: Reader, limit: int = 5000) -> None:
        self.revision = 0
        self._reader = reader
        self._stations = BoundedMapping[str, _Direct](limit)
        self._unread = BoundedMapping[str, Judged](LOOKED_AT)
        self._farthest: Farthest | None = None
        self._day = 0

    def __len__(self) -> int:
        return len(self._stations)

    def hear(self, batch: Iterable[Judged]) -> None:
        """Frames were heard and judged."""
        for judged in batch:
            frame = judged.innermost
            # `is_direct`, asked in place: it is asked of every frame on its way up.
            if frame is not None and frame is judged.heard.frame and not frame.header.hops:
                self._hear_direct(frame.source, judged)

    def _hear_direct(self, source: str, judged: Judged) -> None:
        if not is_network_callsign(source):
            return
        self.revision += 1
        elapsed_ms = judged.heard.moment.elapsed_ms
        station = self._stations.renew(source)
        if station is None:
            self._stations[source] = _Direct(elapsed_ms)
        else:
            station.elapsed_ms = elapsed_ms
        self._unread[source] = judged
        self._unread.move_to_end(source)

    def read(self, moment: Moment) -> None:
        """Read what waits to be read and forget what is too old, now being `moment`. To be done every few seconds."""
        while self._stations:
            source, station = next(iter(self._stations.items()))
            if moment.elapsed_ms - station.elapsed_ms < HOUR_MS:
                break
            del self._stations[source]
        self._day = moment.time_ms // DAY_MS
        for source, judged in self._unread.items():
            direct = self._stations.get(source)
            distance = self._distance_of(judged)
            if distance is not None:
                self._note_farthest(source, judged.heard.moment.time_ms, distance)
                if direct is not None:
                    direct.distance_km = distance
        self._unread.clear()

    def _note_farthest(self, source: str, time_ms: int, distance_km: float) -> None:
        """A station was heard from there. What is too far away to be believed is no record."""
        farthest = Farthest(time_ms // DAY_MS, distance_km, time_ms, source)
        if distance_km <= FARTHEST_M / 1000 and (self._farthest is None or farthest > self._farthest):
            self._farthest = farthest

    def reach(self) -> Reach:
        """How far it reached at the last reading."""
        distances = [station.distance_km for station in self._stations.values() if station.distance_km is not None]
        today = self._farthest if self._farthest is not None and self._farthest.day == self._day else None
        return Reach(len(self._stations), max(distances, default=None), today)

    def dump(self) -> Iterator[PlainObject]:
        """Every station heard direct, with what was read of it so far, and the farthest of the day."""
        if self._farthest is not None:
            yield {"farthest": [self._farthest.source, self._farthest.time_ms, self._farthest.distance_km]}
        for stations in pieces_of(self._stations):
            yield {"direct": [[source, one.elapsed_ms, one.distance_km] for source, one in stations]}

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:
        """Take stations in; those of another shape are left out."""
        match piece.get("farthest"):
            case [str(source), int(time_ms), int() | float() as farthest_km] if is_network_callsign(source):
                if 0 <= time_ms <= HIGHEST_TIME_MS and 0 <= farthest_km <= FARTHEST_KM:
                    self._note_farthest(source, time_ms, farthest_km)
        for entry in listed(piece.get("direct")):
            match entry:
                case [str(source), int(elapsed_ms), int() | float() | None as distance_km] if is_network_callsign(
                    source
                ):
                    if distance_km is None or 0 <= distance_km <= FARTHEST_KM:
                        self._stations[source] = _Direct(min(elapsed_ms + past.shift_ms, 0), distance_km)

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart."""
        self.hear([heard.judged])

    def _distance_of(self, judged: Judged) -> float | None:
        report = self._reader(judged)
        if report is None or report["kind"] not in OF_THE_SENDER:
            return None
        distance: float | None = report.get("distance_km")
        return distance
