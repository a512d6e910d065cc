"""What counts for the reach of an antenna, in which sector it lies, and the classes of distance kept for long. Pure.

Only where a station says itself to be counts, in a frame that came from it without a used repeater and without a relay
(third party). An object or an item lies elsewhere than its sender. At a hub of a club distances are from the post that
heard the frame: where that is not known, nothing counts.
"""

from dataclasses import dataclass

from gateway.feed.reader import NO_REPORT, place_of_sender
from gateway.feed.stations import is_direct
from gateway.frames.header import is_network_callsign
from gateway.frames.heard import Place
from gateway.judge.verdict import Judged
from gateway.reports.distance import Origin

SECTORS = 36
SECTOR_DEG = 360 // SECTORS

IMPLAUSIBLE = -1
"""Stands in the place of a sector for what says to be farther away than `FARTHEST_M`."""

FARTHEST_M = 1_500_000
"""No VHF path is as long (ours): beyond it a position is taken for a fault of its sender, and counted apart."""

_STEPS = ((100_000, 1_000), (500_000, 5_000), (FARTHEST_M, 25_000))
"""Up to which distance classes are how wide, in metres (ours)."""


@dataclass(frozen=True, slots=True)
class Measured:
    """Where a place lies, as seen from the antenna."""

    distance_m: int
    sector: int
    """0 for [0°, 10°) from true north, and so on; `IMPLAUSIBLE`."""


def place_that_counts(judged: Judged) -> Place | None:
    """Where the sender of a frame says to be, if that counts for the reach of the antenna that heard it."""
    if not is_direct(judged) or judged.verdict.reason in NO_REPORT:
        return None
    if judged.heard.post and judged.heard.place is None:
        return None
    if judged.innermost is None or not is_network_callsign(judged.innermost.source):
        return None
    return place_of_sender(judged)


def measured(origin: Origin, place: Place) -> Measured:
    """How far away and in which sector a place lies."""
    line = origin.line_to(place.latitude, place.longitude)
    distance_m = round(line.distance_km * 1000)
    if distance_m > FARTHEST_M:
        return Measured(distance_m, IMPLAUSIBLE)
    return Measured(distance_m, int(line.bearing_deg // SECTOR_DEG) % SECTORS)


def class_of(distance_m: int) -> int:
    """The class of a plausible distance: 1 km wide up to 100 km, 5 km up to 500 km, 25 km beyond."""
    first = lower = 0
    for upper, width in _STEPS:
        if distance_m < upper:
            return first + (distance_m - lower) // width
        first += (upper - lower) // width
        lower = upper
    return first - 1


def middle_of(number: int) -> int:
    """The middle of a class, in metres."""
    lower = 0
    for upper, width in _STEPS:
        classes = (upper - lower) // width
        if number < classes:
            return lower + number * width + width // 2
        number -= classes
        lower = upper
    return FARTHEST_M
