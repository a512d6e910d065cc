"""What `stile who` tells: who was heard, or all that the journal knows of one station."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway import reports
from gateway.commands.answer import counted
from gateway.commands.journal_of import callsign_of, inquiry_of, not_worked_in, period_until_now, post_of
from gateway.frames.header import is_network_callsign
from gateway.frames.plain import PlainObject
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.printable import printable
from gateway.history.period import Period
from gateway.history.station_past import MOST_FRAMES, PastFrame, heard_in, is_direct_object, station_past, together

EXACT_MS = 2 * DAY_MS
"""Who was heard in a longer time is told by whole days of UTC, from the sums."""

COLUMNS = ("station", "frames", "last_heard", "how", "kind", "distance_km", "bearing_deg")
FRAMES_SHOWN = 20
LONGEST_TEXT = 70


@dataclass(frozen=True, slots=True)
class WhoWasHeard:
    """Who was heard in a period."""

    period: Period
    stations: Sequence[PlainObject]
    post: str = ""
    """The post of a club by which they were heard; empty: by any, or here."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {**self.period.to_object(), **_named(self.post), "stations": list(self.stations)}

    def in_words(self) -> str:
        """A line for each station."""
        if not self.stations:
            return f"Nobody was heard{_by(self.post)} in that time."
        lines = [f"{'station':10} {'last heard, UTC':20} {'frames':>7}  {'km':>7} {'deg':>4}  how, what"]
        for one in self.stations:
            distance = f"{one['distance_km']:7.1f}" if "distance_km" in one else " " * 7
            bearing = f"{one['bearing_deg']:4.0f}" if "bearing_deg" in one else " " * 4
            what = printable(", ".join(str(one[name]) for name in ("how", "kind") if name in one))
            lines.append(
                f"{printable(one['station']):10} {_second(one['last_heard']):20} {one['frames']:7,}"
                f"  {distance} {bearing}  {what}".rstrip()
            )
        return "\n".join(lines)

    def rows(self) -> Iterator[Sequence[object]]:
        """For a table, a heading first."""
        yield COLUMNS
        for one in self.stations:
            yield [one.get(name, "") for name in COLUMNS]


@dataclass(frozen=True, slots=True)
class HeardStation:
    """What the journal knows of one station."""

    station: str
    past: PlainObject
    post: str = ""
    """The post of a club by which it was heard; empty: by any, or here."""

    def to_object(self) -> PlainObject:
        """The plain form, as `/api/stations/{callsign}` tells it."""
        return {"station": self.station, **_named(self.post), **self.past}

    def in_words(self) -> str:
        """What it last said, where it was, and its last frames."""
        past = self.past
        if not past["heard"] and not past["days"]:
            return f"{self.station} was not heard{_by(self.post)} in that time."
        frames = sum(day["frames"] for day in past["days"])
        direct = sum(day["direct"] for day in past["days"])
        days = counted(len(past["days"]), "day")
        lines = [f"{self.station}: {counted(frames, 'frame')} on {days} of UTC, {direct:,} direct{_by(self.post)}"]
        if past["heard"]:
            last = past["heard"][0]
            lines += ["", f"last heard {_second(last['time'])} UTC, {printable(how(last))}"]
            lines += [f"  {label}: {printable(text)}" for label, text in _described(last)]
        lines += [
            "",
            *(f"{_second(one['time'])}  {_decided(one):28}  {_text(one)}" for one in past["heard"][:FRAMES_SHOWN]),
        ]
        return "\n".join(lines)

    def rows(self) -> Iterator[Sequence[object]]:
        """For a table, a heading first: its frames."""
        yield "time", "receiver", "how", "verdict", "reason", "rule", "information"
        for one in self.past["heard"]:
            fields = (one.get(name, "") for name in ("verdict", "reason", "rule", "information"))
            yield one["time"], one["receiver"], how(one), *fields


def who(station: Path, since: str, by_post: str | None = None) -> WhoWasHeard:
    """Who was heard, by one post of a club or by all. Raises `DocumentError`, `AskedWronglyError`."""
    post = post_of(by_post, station)
    period = period_until_now("--since", since)
    with inquiry_of(station) as inquiry:
        if not post and period.to_ms - period.from_ms > EXACT_MS:
            return WhoWasHeard(period, inquiry.stations(period))
        counted = inquiry.last_frames(period, post)
    for frame in reversed(not_worked_in(station, post)):
        plain = frame.to_object()
        if plain is not None and isinstance(plain.get("source"), str) and period.holds(plain):
            source = plain["source"]
            counted[source] = counted[source][0] + 1 if source in counted else 1, frame.encoded
    stations = [
        _station(source, frames, plain)
        for source, (frames, text) in counted.items()
        if is_network_callsign(source) and (plain := PastFrame("", 0, text).to_object()) is not None
    ]
    return WhoWasHeard(period, sorted(stations, key=lambda one: str(one["last_heard"]), reverse=True), post)


def who_is(station: Path, callsign: str, since: str, by_post: str | None = None) -> HeardStation:
    """What is known of one station, by one post of a club or by all. Raises `DocumentError`, `AskedWronglyError`."""
    post = post_of(by_post, station)
    callsign = callsign_of(callsign)
    period = period_until_now("--since", since)
    with inquiry_of(station) as inquiry:
        journal_frames = inquiry.heard(callsign, MOST_FRAMES, since_ms=period.from_ms, post=post)
        days = inquiry.days_of_station(callsign, period, post)
    objects = heard_in(period, together(not_worked_in(station, post), journal_frames))
    heard = [plain for plain in objects if plain.get("source") == callsign]
    return HeardStation(callsign, {**period.to_object(), "days": days, **station_past(heard)}, post)


def how(heard: Mapping[str, Any]) -> str:
    """How it came: direct, by which repeater, by whom as third party."""
    if is_direct_object(heard):
        return "direct"
    outer = heard.get("outer")
    if isinstance(outer, Mapping):
        return f"relayed by {outer.get('source')}"
    used = [str(entry) for entry in heard.get("path", ()) if str(entry).endswith("*")]
    return f"by {used[-1].removesuffix('*')}" if used else "unknown"


def _station(source: str, frames: int, last: PlainObject) -> PlainObject:
    report = last.get("report") or {}
    plain = {"station": source, "frames": frames, "last_heard": last["time"], "how": how(last)}
    return plain | {name: report[name] for name in ("kind", "distance_km", "bearing_deg") if name in report}


def _described(heard: PlainObject) -> list[tuple[str, str]]:
    report = heard.get("report")
    return list(reports.describe_object(report)) if isinstance(report, dict) else []


def _decided(heard: PlainObject) -> str:
    because = ", ".join(str(heard[name]) for name in ("reason", "rule") if name in heard)
    return printable(f"{heard.get('verdict', '')}{': ' + because if because else ''}", 28)


def _text(heard: PlainObject) -> str:
    """What it says in a few plain words; only what cannot be read is shown as it came."""
    report = heard.get("report")
    if not isinstance(report, dict) or report.get("kind") == "unknown":
        return printable(str(heard.get("information", heard.get("damage", ""))), LONGEST_TEXT)
    words = [str(report.get("kind"))]
    if "distance_km" in report:
        words.append(f"{report['distance_km']:.1f} km at {report['bearing_deg']:.0f}°")
    words += [str(report[name]) for name in ("name", "addressee", "text", "comment") if report.get(name)]
    return printable(", ".join(words), LONGEST_TEXT)


def _named(post: str) -> PlainObject:
    return {"post": post} if post else {}


def _by(post: str) -> str:
    return f" by {post}" if post else ""


def _second(time: object) -> str:
    return str(time)[:19].replace("T", " ")
