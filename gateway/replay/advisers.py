"""What in a capture a policy could do better. Each adviser looks for one fault, and says what to try against it.

An adviser is a pure function of what was observed and of the policy. When it speaks is stated by the thresholds above
it; figures without a source are our choice.
"""

import math
import statistics
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from gateway.judge.policy import Per, Rate
from gateway.judge.source import PolicySource
from gateway.replay.amendment import entry_lines, written
from gateway.replay.observation import KeptByRate, Observations, ObservedStation

MOST_OF_A_KIND = 3
"""Pieces of advice of one kind; each is tried by a replay of its own."""

MINUTES_AN_HOUR = 60


class Fault(StrEnum):
    """What advice is about."""

    LOUD_STATION = "loud-station"
    UNMOVING_BEACON = "unmoving-beacon"
    LATE_COPIES = "late-copies"
    NEEDED_REPORTS_KEPT = "needed-reports-kept"
    TIGHT_RATE = "tight-rate"


@dataclass(frozen=True, slots=True)
class Advice:
    """A fault, and the lines to try against it."""

    fault: Fault
    about: str
    """The station or the rate that it is about; empty where it is about all."""

    finding: str
    """In words, with figures."""

    figures: Mapping[str, float | int]
    lines: str
    """YAML for the policy (see `amendment.amended`)."""

    aimed_at: frozenset[str] = frozenset()
    """The stations whose frames it is meant to keep; empty where it is about frames, whoever sends them."""


Adviser = Callable[[Observations, PolicySource], Iterator[Advice]]

LOUD_SHARE = 0.15
"""Of the octets that go up: from here on a station is asked whether it is loud."""

LOUD_FRAMES = 50
LOUD_TIMES = 4.0
"""How many times the frames an hour of the median station it sends; a post that hears three is no measure."""

FEWEST_STATIONS = 4
CALM_TIMES = 2.0
"""What is tried for it, in times the median station's frames an hour."""

CALM_AT_LEAST = 6
"""Frames an hour that are tried at the least: one in ten minutes."""

CALM_BURST = 3


def loud_station(observations: Observations, source: PolicySource) -> Iterator[Advice]:
    """A station that takes far more of the uplink than the others. Its messages are left alone."""
    if len(observations.stations) < FEWEST_STATIONS:
        return
    median = statistics.median(station.frames_an_hour for station in observations.stations.values())
    calm = max(CALM_AT_LEAST, math.ceil(CALM_TIMES * median))
    for callsign, station in _greatest(observations, lambda station: station.octets):
        share = station.octets / observations.octets
        if share < LOUD_SHARE or station.frames < LOUD_FRAMES or station.frames_an_hour < LOUD_TIMES * median:
            continue
        repeated = station.repeated / station.frames
        yield Advice(
            Fault.LOUD_STATION,
            callsign,
            f"{callsign} takes {share:.0%} of the uplink: {station.frames:,} frames, {station.octets:,} octets, "
            f"{station.frames_an_hour:.0f} an hour where the median station sends {median:.1f}; "
            f"{repeated:.0%} of them repeat word for word what it said before",
            {
                "share": round(share, 4),
                "frames": station.frames,
                "octets": station.octets,
                "frames_an_hour": round(station.frames_an_hour, 2),
                "median_frames_an_hour": round(median, 2),
                "repeated_share": round(repeated, 4),
            },
            _rate_lines(
                _free_name(source, f"calm-{callsign}"),
                {"source": callsign, "not": {"report": "message"}},
                an_hour=calm,
                burst=CALM_BURST,
            ),
            frozenset({callsign}),
        )


UNMOVING_POSITIONS = 20
UNMOVING_METRES = 100.0
"""Between the corners of all the positions it reported: more than a receiver of satellites strays."""

UNMOVING_AN_HOUR = 6.0
"""A fixed station tells where it is every 10 to 30 minutes (common practice); more than this is too often."""

UNMOVING_ALLOWED = 4
"""Positions an hour that are tried for it."""


def unmoving_beacon(observations: Observations, source: PolicySource) -> Iterator[Advice]:
    """A station that says again and again that it is where it was."""
    for callsign, station in _greatest(observations, lambda station: station.positions):
        if station.positions < UNMOVING_POSITIONS or station.positions_an_hour <= UNMOVING_AN_HOUR:
            continue
        metres = station.area.metres
        if metres > UNMOVING_METRES:
            continue
        minutes = MINUTES_AN_HOUR / station.positions_an_hour
        yield Advice(
            Fault.UNMOVING_BEACON,
            callsign,
            f"{callsign} reported its position {station.positions:,} times, "
            f"{station.positions_an_hour:.0f} in an hour that it was heard, "
            f"and never moved more than {metres:.0f} m",
            {
                "positions": station.positions,
                "minutes_between": round(minutes, 2),
                "metres": round(metres, 1),
            },
            _rate_lines(
                _free_name(source, f"unmoving-{callsign}"),
                {"source": callsign, "report": "position"},
                an_hour=UNMOVING_ALLOWED,
                burst=1,
            ),
            frozenset({callsign}),
        )


LATE_FRAMES = 10
LATE_SHARE = 0.01
"""Of the frames that go up."""

LATE_STATIONS = 3
"""One station whose frames come twice may have sent them twice."""

LATE_COVERED = 0.95
"""The window that is tried would have known such a share of them."""


def late_copies(observations: Observations, source: PolicySource) -> Iterator[Advice]:
    """Copies by way of a repeater, on another path than the first, that come when the window is over."""
    late = observations.late
    if (
        late.frames < LATE_FRAMES
        or late.frames < LATE_SHARE * observations.frames
        or len(late.stations) < LATE_STATIONS
    ):
        return
    window_ms = source.policy.duplicates.window
    covers_ms = late.delay_of_share(LATE_COVERED)
    half_ms = late.delay_of_share(0.5)
    yield Advice(
        Fault.LATE_COPIES,
        "",
        f"{late.frames:,} copies of {len(late.stations)} stations slip past the window of {window_ms / 1000:g} s: "
        f"half of them come within {half_ms / 1000:g} s of the first, {LATE_COVERED:.0%} within {covers_ms / 1000:g} s",
        {
            "copies": late.frames,
            "octets": late.octets,
            "stations": len(late.stations),
            "window_s": window_ms / 1000,
            "half_within_s": half_ms / 1000,
            "most_within_s": covers_ms / 1000,
        },
        f"duplicates: {{window: {covers_ms // 1000}s}}\n",
    )


NEEDED_KINDS = ("message", "weather", "bulletin")
"""Reports that someone waits for."""

NEEDED_FRAMES = 10
RESERVED_SHARE = "25%"


def needed_reports_kept(observations: Observations, source: PolicySource) -> Iterator[Advice]:
    """A rate that keeps messages, bulletins and weather."""
    for rate, kept, entry in _rates_that_kept(observations, source):
        kinds = [kind for kind in NEEDED_KINDS if kept.kinds[kind]]
        needed = sum(kept.kinds[kind] for kind in kinds)
        if needed < NEEDED_FRAMES:
            continue
        changed = _reserving(rate, entry, kinds)
        if changed is None:
            continue
        counted = ", ".join(f"{kept.kinds[kind]:,} of the kind {kind}" for kind in kinds)
        yield Advice(
            Fault.NEEDED_REPORTS_KEPT,
            rate.name,
            f"the rate {rate.name} kept {kept.frames:,} frames, among them {counted}",
            {"frames": kept.frames, **{kind: kept.kinds[kind] for kind in kinds}},
            entry_lines("rates", changed),
        )


TIGHT_STATIONS = 5
TIGHT_SHARE = 0.5
"""Of the stations that are heard: a rate per source that bites half of them does not hold babblers alone."""

TIGHT_TIMES = 2
WIDE = 100_000
"""An allowance of more than so many frames is no tight one."""


def tight_rate(observations: Observations, source: PolicySource) -> Iterator[Advice]:
    """A rate per source that bites most sources."""
    for rate, kept, entry in _rates_that_kept(observations, source):
        bitten, offering = len(kept.stations), len(observations.offering)
        if rate.per is not Per.SOURCE or rate.allow.octets or max(rate.allow.amount, rate.burst or 0) > WIDE:
            continue
        if bitten < TIGHT_STATIONS or bitten < TIGHT_SHARE * offering:
            continue
        changed = {**entry, "allow": f"{rate.allow.amount * TIGHT_TIMES} per {rate.allow.period}"}
        if rate.burst is not None:
            changed["burst"] = rate.burst * TIGHT_TIMES
        yield Advice(
            Fault.TIGHT_RATE,
            rate.name,
            f"the rate {rate.name} kept frames of {bitten} of the {offering} stations that were heard, "
            f"{kept.frames:,} in all: it bites more than those who babble",
            {"frames": kept.frames, "stations": bitten, "stations_heard": offering},
            entry_lines("rates", changed),
        )


ADVISERS: tuple[Adviser, ...] = (loud_station, unmoving_beacon, late_copies, needed_reports_kept, tight_rate)
"""All of them, in the order in which they are asked."""


def advice(observations: Observations, source: PolicySource) -> list[Advice]:
    """All that there is to say, the first `MOST_OF_A_KIND` of each kind."""
    pieces: list[Advice] = []
    for adviser in ADVISERS:
        pieces += [piece for piece, _ in zip(adviser(observations, source), range(MOST_OF_A_KIND), strict=False)]
    return pieces


def _greatest(observations: Observations, of: Callable[[ObservedStation], float]) -> list[tuple[str, ObservedStation]]:
    return sorted(observations.stations.items(), key=lambda item: (-of(item[1]), item[0]))


def _free_name(source: PolicySource, wanted: str) -> str:
    names = {rate.name for rate in source.policy.rates}
    name = wanted = wanted.lower()
    number = 2
    while name in names:
        name, number = f"{wanted}-{number}", number + 1
    return name


def _rate_lines(name: str, when: Mapping[str, object], *, an_hour: int, burst: int) -> str:
    return entry_lines("rates", {"name": name, "when": dict(when), "allow": f"{an_hour} per hour", "burst": burst})


def _rates_that_kept(
    observations: Observations, source: PolicySource
) -> Iterator[tuple[Rate, KeptByRate, dict[str, object]]]:
    """The rates of the policy that kept something, those that kept most first, as they are written."""
    pairs = [
        (rate, observations.rates[rate.name], written(entry))
        for rate, entry in zip(source.policy.rates, source.rates, strict=True)
        if rate.name in observations.rates
    ]
    yield from sorted(pairs, key=lambda pair: (-pair[1].frames, pair[0].name))


def _reserving(rate: Rate, entry: dict[str, object], kinds: list[str]) -> dict[str, object] | None:
    """The rate with room for the kinds: a reserve where it is shared by many, none of its business where it is not.

    None where it has a reserve or a condition already that would have to be weighed against it.
    """
    if rate.reserve is not None:
        return None
    if rate.per is not Per.SOURCE:
        return {**entry, "reserve": {"for": kinds, "share": RESERVED_SHARE}}
    when = entry.get("when") or {}
    if not isinstance(when, dict) or "not" in when or "report" in when:
        return None
    changed = {**entry, "when": {**when, "not": {"report": kinds}}}
    return {"name": changed.pop("name"), "when": changed.pop("when"), **changed}
