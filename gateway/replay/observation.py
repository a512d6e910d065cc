"""What advice is drawn from: who sends what, how often, how copies come, and whom the rates keep. Bounded memory."""

import math
import zlib
from collections import Counter
from dataclasses import dataclass, field

from gateway.feed.heard_object import Reader
from gateway.frames.frame import Frame
from gateway.frames.plain import PlainObject
from gateway.frames.tnc2 import first_line
from gateway.groundwork.duration import HOUR_MS
from gateway.judge.verdict import Judged, Reason
from gateway.replay.bounded import BoundedCounter

MAXIMUM_STATIONS = 16_384
"""Stations that are watched, about 16 MB: the first that are heard."""

REMEMBERED_TEXTS = 8
"""How many different informations of a station are known again: a few beacons take turns in many a station."""

LATE_HORIZON_MS = 300_000
"""How long after the first a frame counts as its late copy; what comes later was sent again."""

MAXIMUM_LATE_KEYS = 65_536

METRES_A_DEGREE = 111_320
"""Of latitude, on the average: good to a hundredth over the few hundred metres that are asked about."""

DELAY_STEP_MS = 10_000
"""How finely the delays of late copies are told apart."""


@dataclass(slots=True)
class PositionSpan:
    """The smallest span of latitude and longitude that holds some positions."""

    south: float = math.inf
    north: float = -math.inf
    west: float = math.inf
    east: float = -math.inf

    def add(self, latitude: float, longitude: float) -> None:
        """Widen it to hold one more."""
        self.south, self.north = min(self.south, latitude), max(self.north, latitude)
        self.west, self.east = min(self.west, longitude), max(self.east, longitude)

    @property
    def metres(self) -> float:
        """From corner to corner; a span over the 180th meridian comes out as round the world."""
        if self.south > self.north:
            return 0.0
        width = (self.east - self.west) * math.cos(math.radians((self.south + self.north) / 2))
        return math.hypot(self.north - self.south, width) * METRES_A_DEGREE


@dataclass(slots=True)
class ObservedStation:
    """What one station had forwarded."""

    frames: int = 0
    octets: int = 0
    repeated: int = 0
    """Frames that said word for word what one of its last `REMEMBERED_TEXTS` different ones had said."""

    hours: int = 0
    """In how many hours of the clock it was forwarded."""

    positions: int = 0
    area: PositionSpan = field(default_factory=PositionSpan)
    _last_hour: int = -1
    _texts: dict[int, None] = field(default_factory=dict)

    @property
    def frames_an_hour(self) -> float:
        """On the average over the hours in which it was forwarded."""
        return self.frames / self.hours if self.hours else 0.0

    @property
    def positions_an_hour(self) -> float:
        """Likewise, of its position reports."""
        return self.positions / self.hours if self.hours else 0.0

    def add(self, information: bytes, report: PlainObject, time_ms: int, octets: int) -> None:
        """One more frame."""
        self.frames += 1
        self.octets += octets
        hour = time_ms // HOUR_MS
        if hour != self._last_hour:
            self._last_hour = hour
            self.hours += 1
        text = zlib.crc32(information)
        if text in self._texts:
            self.repeated += 1
        else:
            if len(self._texts) >= REMEMBERED_TEXTS:
                del self._texts[next(iter(self._texts))]
            self._texts[text] = None
        if report.get("kind") == "position" and "latitude" in report and "longitude" in report:
            self.positions += 1
            self.area.add(report["latitude"], report["longitude"])


@dataclass(slots=True)
class LateCopies:
    """Frames forwarded although a copy of them had gone up, by another way, since before the window."""

    frames: int = 0
    octets: int = 0
    delays: Counter[int] = field(default_factory=Counter)
    """How many came less than so many steps of `DELAY_STEP_MS` after the first."""

    stations: BoundedCounter[str] = field(default_factory=BoundedCounter)
    _recent: dict[bytes, tuple[int, str]] = field(default_factory=dict)
    _older: dict[bytes, tuple[int, str]] = field(default_factory=dict)
    _began_ms: int = 0
    _run: str = ""

    def add(self, outermost: Frame, innermost: Frame, run: str, elapsed_ms: int, octets: int) -> None:
        """One more frame that is forwarded."""
        if run != self._run:
            self._run, self._began_ms, self._recent, self._older = run, 0, {}, {}
        key = b"%b>%b:%b" % (
            innermost.source.encode("ascii", "replace"),
            innermost.destination.encode("ascii", "replace"),
            first_line(innermost.information).rstrip(b" "),
        )
        header = outermost.header
        first = self._recent.get(key) or self._older.get(key)
        delay_ms = LATE_HORIZON_MS if first is None else elapsed_ms - first[0]
        if first is not None and delay_ms < LATE_HORIZON_MS and header.hops and header.text != first[1]:
            self.frames += 1
            self.octets += octets
            self.delays[delay_ms // DELAY_STEP_MS + 1] += 1
            self.stations.add(innermost.source)
            return  # a third copy is as late as it is after the first
        if elapsed_ms - self._began_ms >= LATE_HORIZON_MS or len(self._recent) >= MAXIMUM_LATE_KEYS // 2:
            self._older, self._recent, self._began_ms = self._recent, {}, elapsed_ms
        self._recent[key] = (elapsed_ms, header.text)

    def delay_of_share(self, share: float) -> int:
        """Such a share of them came less than so many milliseconds after the first, in whole steps."""
        due = share * self.frames
        for steps in sorted(self.delays):
            due -= self.delays[steps]
            if due <= 0:
                return steps * DELAY_STEP_MS
        return 0


@dataclass(slots=True)
class KeptByRate:
    """What one rate kept."""

    frames: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    stations: BoundedCounter[str] = field(default_factory=BoundedCounter)


@dataclass
class Observations:
    """What a policy made of a capture, as far as advice needs it."""

    read: Reader
    frames: int = 0
    """Forwarded."""

    octets: int = 0
    stations: dict[str, ObservedStation] = field(default_factory=dict)
    """Those that were forwarded."""

    late: LateCopies = field(default_factory=LateCopies)
    rates: dict[str, KeptByRate] = field(default_factory=dict)
    offering: BoundedCounter[str] = field(default_factory=BoundedCounter)
    """Frames of each station about which the rates were asked."""

    def add(self, judged: Judged, octets: int) -> None:
        """One more frame, whose network line has so many octets."""
        reason, innermost, outermost = judged.verdict.reason, judged.innermost, judged.heard.frame
        if innermost is None or not isinstance(outermost, Frame) or reason not in {None, Reason.OVER_RATE}:
            return
        report = self.read(judged) or {}
        self.offering.add(innermost.source)
        if reason is Reason.OVER_RATE:
            rate = self.rates.setdefault(judged.verdict.rule or "", KeptByRate())
            rate.frames += 1
            rate.kinds[str(report.get("kind", "unknown"))] += 1
            rate.stations.add(innermost.source)
            return
        self.frames += 1
        self.octets += octets
        moment = judged.heard.moment
        self.late.add(outermost, innermost, judged.heard.run, moment.elapsed_ms, octets)
        station = self.stations.get(innermost.source)
        if station is None:
            if len(self.stations) >= MAXIMUM_STATIONS:
                return
            station = self.stations[innermost.source] = ObservedStation()
        station.add(judged.information, report, moment.time_ms, octets)
