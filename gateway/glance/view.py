"""What a small screen says, in wordings of several lengths: the last station, or the emergency, and how the post is.

Pure: the moment is passed in, in the time zone in which it is to be told.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from gateway.glance import report_words
from gateway.glance.lettering import Wordings
from gateway.glance.report_words import joined
from gateway.glance.shown import HealthShown, HeardShown
from gateway.glance.tiles import Tile, tiles, troubles
from gateway.groundwork.duration import MINUTE_MS, in_words
from gateway.groundwork.part import State

EMERGENCY_HOLDS = timedelta(minutes=30)
"""So long after its last word an emergency has the screen (ours)."""

CAUTION: Wordings = (
    "Not a distress watch: nobody may rely on this, and it promises nothing.",
    "Not a distress watch: it promises nothing.",
    "Not a distress watch",
)


@dataclass(frozen=True, slots=True)
class StationView:
    """One station, as it was heard last."""

    source: str
    facts: Wordings
    """Its weather, or how far and in which direction it is; empty where it tells neither."""

    age: Wordings
    picture: str
    """What it is: `sailing boat`. Empty where nobody knows."""

    words: str
    """What it says besides."""


@dataclass(frozen=True, slots=True)
class View:
    """All that a small screen has to say at one moment."""

    callsign: str
    """Of the post."""

    clock: Wordings
    station: StationView | None
    emergency: StationView | None
    tiles: tuple[Tile, ...]
    """None before the gateway was ever asked, and none while it does not answer: nobody knows how it is."""

    worst: State
    state: Wordings
    """How the post is, in a line: what is wrong, or how busy it is."""

    silent: Wordings
    """Since when the gateway gives no answer; empty while it does."""


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a gateway, as far as a small screen goes."""

    callsign: str
    health: HealthShown | None
    last: HeardShown | None = None
    emergency: HeardShown | None = None
    silent_since: datetime | None = None
    """None: it answers."""


def view(known: Known, now: datetime) -> View:
    """What is to be seen now, which is told in its own time zone."""
    health, emergency = known.health, known.emergency
    all_four = () if health is None else tiles(health, now, age=lambda then, now: _age(then, now)[0])
    wrong = next(troubles(all_four), None)
    holds = emergency is not None and now - emergency.time < EMERGENCY_HOLDS
    return View(
        callsign=known.callsign,
        clock=(f"{now:%H:%M %Z}".strip(), f"{now:%H:%M}"),
        station=None if known.last is None else _station(known.last, now),
        emergency=_station(emergency, now) if emergency is not None and holds else None,
        tiles=() if known.silent_since is not None else all_four,
        worst=_worst(health, wrong),
        state=_well(health) if wrong is None else _trouble(wrong),
        silent=_silent(known.silent_since, now),
    )


def _station(heard: HeardShown, now: datetime) -> StationView:
    report = heard.report
    wind, temperature = report_words.wind(report), report_words.temperature(report)
    place = report_words.where(report) or (report_words.coordinates(report) if report.emergency else "")
    if report.tells_weather and not report.emergency:
        weather = joined((temperature, wind))
        facts: Wordings = (joined((weather, report_words.gusts(report))), weather, temperature or wind)
        words = joined((place, report_words.air(report), report.comment))
    else:
        far = "" if report.bearing_deg is None else f" ({report.bearing_deg:.0f}°)"
        facts = (f"{place}{far}", place) if place else ()
        words = report_words.report_words(heard)
    if report.emergency:
        words = joined((report.comment, report_words.motion(report)))
    return StationView(
        source=heard.source,
        facts=facts,
        age=_age(heard.time, now),
        picture=report_words.picture(report),
        words=words,
    )


def _worst(health: HealthShown | None, wrong: Tile | None) -> State:
    """Nothing is well that was not asked yet."""
    if health is None:
        return State.WAITING
    return State.OK if wrong is None or wrong.state is None else wrong.state


def _age(then: datetime, now: datetime) -> Wordings:
    """Told to the minute: a screen that counted seconds would never stand still."""
    minutes = int((now - then).total_seconds() // 60)
    if minutes < 1:
        return ("just now", "now")
    age = in_words(minutes * MINUTE_MS)
    short = " ".join(age.split(" ")[:2])
    return (f"{age} ago", f"{short} ago", short)


def _trouble(tile: Tile) -> Wordings:
    state = f"{tile.name}: {tile.word}"
    return (f"{state}, {tile.why}; {tile.do}" if tile.do else "", f"{state}, {tile.why}", state)


def _well(health: HealthShown | None) -> Wordings:
    if health is None:
        return ("asking the gateway",)
    activity = health.activity
    if activity is None:
        return ("all ok",)
    frames, stations = activity.frames_per_minute, activity.stations_last_hour
    return (
        f"all ok: {frames} frames a minute, {stations} stations in the last hour",
        f"all ok, {frames} a minute, {stations} stations",
        f"all ok, {frames} a minute",
        "all ok",
    )


def _silent(since: datetime | None, now: datetime) -> Wordings:
    if since is None:
        return ()
    when = since.astimezone(now.tzinfo)
    since_when = f"{when:%H:%M}" if when.date() == now.date() else f"{when:%Y-%m-%d %H:%M}"
    return (f"no answer from the gateway since {since_when}", f"no answer since {since_when}", "no answer")
