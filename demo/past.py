"""What the post of the demo heard in the weeks before the race: a journal that is written at one go.

Stations along the coast and inland, more of them by day than by night and more on Saturdays and Sundays, a ferry that
crosses, and on one day an antenna that was down. All of it is invented; the same draw gives the same past.
"""

import math
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

from demo.regatta.air import BUOY, HOUSE, POWER_BOAT, WEATHER_STATION, YACHT
from demo.regatta.information import Fix, movement, place, weather
from demo.regatta.sailing import METRES_PER_DEGREE
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.heard import Moment, Run
from gateway.groundwork.duration import DAY_MS
from gateway.journal.batch import Batch
from gateway.journal.options import JournalOptions
from gateway.journal.runs import RunRecord
from gateway.journal.store import Store
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.settings import StationFile

CAR, DIGIPEATER = "/>", "/#"
POST = Fix(58.6, -3.9167)
DAYS = 30
DOWN_DAY, DOWN_HOURS = 9, range(10, 16)
"""So many days ago the antenna was down, in these hours."""

BATCH = 500


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Somebody near the post: where, how often, and by which way they are heard."""

    callsign: str
    symbol: str
    bearing_deg: float
    distance_km: float
    an_hour: float
    """Frames in an hour at noon."""

    path: str = ""
    wanders_km: float = 0.0
    text: str = ""


NEIGHBOURS = (
    Neighbour("QH3CST", WEATHER_STATION, 292, 14.2, 4),
    Neighbour("QB7FRY-8", POWER_BOAT, 20, 21, 5, wanders_km=13, text="Ferry Sanderling"),
    Neighbour("QC8VAN-9", CAR, 196, 17, 4, wanders_km=11, text="on the coast road"),
    Neighbour("QD1HIL", DIGIPEATER, 158, 41.5, 2, text="Hill repeater"),
    Neighbour("QE2FRM", HOUSE, 231, 9.4, 2, text="Farm at the bend"),
    Neighbour("QF9LRY-9", CAR, 172, 33, 3, wanders_km=18, text="Lorry 4"),
    Neighbour("QG5ISL", WEATHER_STATION, 348, 52.3, 2),
    Neighbour("QA6YAT-8", YACHT, 61, 27, 3, wanders_km=9, text="Guillemot"),
    Neighbour("QB4TWN", HOUSE, 118, 23.7, 2, path="QD1HIL*"),
    Neighbour("QC5BUY", BUOY, 75, 38.8, 2, text="Outer buoy"),
    Neighbour("QH8MTN-7", "/[", 143, 58.6, 1, wanders_km=4, text="On the ridge"),
    Neighbour("QD6CTY-9", CAR, 188, 96, 2, path="QD1HIL*,QD1BB*", wanders_km=15),
)


def write_past(path: Path, station: StationFile, policy: PolicySource, now: datetime, *, draw: int = 1) -> None:
    """A journal at `path` of the `DAYS` before `now`, judged by the demo's policy."""
    began = now - timedelta(days=DAYS)
    began_ms = _unix_ms(began)
    post = station.settings.post
    run = Run(identity="0f0e0d0c0b0a")
    judge, reader = Judge(policy.compiled(post)), ReportReader(post)
    record = RunRecord(run.identity, began_ms, station.settings.station.callsign, judge.policy.label)
    store = Store(JournalOptions(path, (DAYS + 1) * DAY_MS), record, post.origin)
    heard: deque[HeardPayload] = deque()
    for at, line in said(Random(draw), began, now):
        moment = Moment(_unix_ms(at) - began_ms, _unix_ms(at))
        judged = judge.judge(run.hear(moment, "vhf", 0, tnc2.read(line)))
        heard.append(HeardPayload(judged, reader))
        if len(heard) >= BATCH:
            _write(store, heard)
    _write(store, heard)
    store.close()


def said(chance: Random, began: datetime, now: datetime) -> Iterator[tuple[datetime, bytes]]:
    """When the post heard which line of monitor text, in that order."""
    hour = began.replace(minute=0, second=0, microsecond=0)
    while hour < now:
        heard = [
            (hour + timedelta(seconds=chance.uniform(0, 3600)), neighbour)
            for neighbour in NEIGHBOURS
            for _ in range(_count(chance, neighbour.an_hour * _busy(hour, now)))
        ]
        yield from (
            (at, _line(chance, neighbour, at)) for at, neighbour in sorted(heard, key=lambda one: one[0]) if at < now
        )
        hour += timedelta(hours=1)


def _busy(hour: datetime, now: datetime) -> float:
    """How busy the air is, beside a usual noon."""
    if (now - hour).days == DOWN_DAY and hour.hour in DOWN_HOURS:
        return 0.0
    by_day = 0.25 + 0.75 * max(0.0, math.sin(math.pi * (hour.hour - 5) / 17))
    return by_day * (1.5 if hour.weekday() >= 5 else 1.0)  # noqa: PLR2004 - Saturday


def _count(chance: Random, mean: float) -> int:
    """How often something happens that happens so often on average, each time by itself (Poisson, after Knuth)."""
    limit, product, count = math.exp(-mean), chance.random(), 0
    while product > limit:
        product *= chance.random()
        count += 1
    return count


def _line(chance: Random, neighbour: Neighbour, at: datetime) -> bytes:
    swing = math.sin(at.timestamp() / 5400 + neighbour.bearing_deg)
    fix = _fix(
        neighbour.bearing_deg + 4 * swing * bool(neighbour.wanders_km),
        neighbour.distance_km + neighbour.wanders_km * swing,
    )
    if neighbour.symbol == WEATHER_STATION:
        celsius = 11 + 5 * math.sin(math.pi * (at.hour + at.minute / 60 - 9) / 12) + chance.uniform(-0.5, 0.5)
        hectopascal = 1012 + 9 * math.sin(at.timestamp() / 400_000)
        information = (
            f"!{place(fix, neighbour.symbol)}{weather(int(200 + 60 * swing), 9 + 6 * swing, celsius, hectopascal)}"
        )
    else:
        moves = movement(fix) if neighbour.wanders_km else ""
        information = f"!{place(fix, neighbour.symbol)}{moves}{neighbour.text}"
    path = f",{neighbour.path}" if neighbour.path else ""
    return f"{neighbour.callsign}>APRS{path}:{information}".encode()


def _fix(bearing_deg: float, distance_km: float) -> Fix:
    north = distance_km * 1000 * math.cos(math.radians(bearing_deg))
    east = distance_km * 1000 * math.sin(math.radians(bearing_deg))
    return Fix(
        POST.latitude + north / METRES_PER_DEGREE,
        POST.longitude + east / METRES_PER_DEGREE / math.cos(math.radians(POST.latitude)),
        int(bearing_deg) % 360,
        20.0,
    )


def _unix_ms(moment: datetime) -> int:
    return int(moment.timestamp() * 1000)


def _write(store: Store, heard: deque[HeardPayload]) -> None:
    batch = Batch(heard, settles=True)
    while batch.encode(0):
        pass
    store.write(batch)
    heard.clear()
