"""The reach of the antenna: how far it heard in each of 36 sectors, from whom and when. Pure.

Medians and percentiles are over frames, by nearest rank: the smallest distance that so large a share of the frames does
not exceed, a distance that was heard and no mean of two.
"""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum
from typing import NamedTuple

from gateway.frames.plain import PlainObject, rfc3339
from gateway.history.distances import IMPLAUSIBLE, SECTOR_DEG, SECTORS, middle_of

MEDIAN_PERCENT = 50
HIGH_PERCENT = 95


class MeasuredBy(StrEnum):
    """What medians and percentiles are taken from."""

    FRAMES = "frames"
    """Every single frame: they are exact."""

    CLASSES = "classes"
    """Classes of distance, since the frames themselves are kept no longer: the middle of a class stands for it."""


class DirectFrames(NamedTuple):
    """Frames of one station in one sector, of one distance; or, of a sum, no farther than that."""

    sector: int
    distance_m: int
    source: str
    frames: int
    last_ms: int


class ClassFrames(NamedTuple):
    """Frames in one sector, of one class of distance."""

    sector: int
    number: int
    frames: int


@dataclass(slots=True)
class SectorReach:
    """What was heard direct from one sector, or from all around."""

    distances: Counter[int] = field(default_factory=Counter)
    """Frames by distance in metres."""

    stations: set[str] = field(default_factory=set)
    farthest: tuple[int, int, str] | None = None
    """Distance in metres, the last time, and who."""

    @property
    def frames(self) -> int:
        """How many there were."""
        return self.distances.total()

    def hear(self, direct: DirectFrames) -> None:
        """A station was heard from here."""
        self.stations.add(direct.source)
        self.farthest = max(self.farthest or (-1, 0, ""), (direct.distance_m, direct.last_ms, direct.source))

    def percentile_m(self, percent: int) -> int | None:
        """The distance that so large a share of the frames does not exceed, by nearest rank; None: there are none."""
        rank = -(-self.frames * percent // 100)
        for distance_m in sorted(self.distances):
            rank -= self.distances[distance_m]
            if rank <= 0:  # the middle of the last class may lie beyond the farthest that was heard
                return distance_m if self.farthest is None else min(distance_m, self.farthest[0])
        return None

    def to_object(self) -> PlainObject:
        """The plain form; null for what there is not."""
        farthest_m, time_ms, station = self.farthest or (None, None, None)
        return {
            "frames": self.frames,
            "stations": len(self.stations),
            "median_km": _km(self.percentile_m(MEDIAN_PERCENT)),
            "p95_km": _km(self.percentile_m(HIGH_PERCENT)),
            "farthest_km": _km(farthest_m),
            "farthest_station": station,
            "farthest_time": None if time_ms is None else rfc3339(time_ms),
        }


class AntennaReach:
    """The reach in one period."""

    def __init__(self, direct: Iterable[DirectFrames], classes: Iterable[ClassFrames] | None = None) -> None:
        """`classes`: where distances are known by their class alone; `direct` then has the farthest of each station."""
        self.measured_by = MeasuredBy.FRAMES if classes is None else MeasuredBy.CLASSES
        self.sectors = [SectorReach() for _ in range(SECTORS)]
        self.whole = SectorReach()
        self.implausible_frames = 0
        for one in direct:
            if one.sector == IMPLAUSIBLE:
                self.implausible_frames += one.frames
            elif 0 <= one.sector < SECTORS:
                for sector in (self.sectors[one.sector], self.whole):
                    sector.hear(one)
                    if classes is None:
                        sector.distances[one.distance_m] += one.frames
        for some in classes or ():
            if 0 <= some.sector < SECTORS:
                for sector in (self.sectors[some.sector], self.whole):
                    sector.distances[middle_of(some.number)] += some.frames

    def to_object(self) -> PlainObject:
        """The plain form."""
        sectors = [
            {"from_deg": place * SECTOR_DEG, "to_deg": (place + 1) * SECTOR_DEG, **sector.to_object()}
            for place, sector in enumerate(self.sectors)
        ]
        return {
            "measured_by": self.measured_by,
            "sectors": sectors,
            "whole": self.whole.to_object(),
            "implausible_frames": self.implausible_frames,
        }


def _km(distance_m: int | None) -> float | None:
    return None if distance_m is None else distance_m / 1000
