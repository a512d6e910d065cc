"""How frames, stations, alerts, parts and the counts are said, each in a line. No I/O, no clock."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime

from gateway.commands.watching.columns import padded, shown, width
from gateway.commands.watching.watched import WatchedFrame, WatchedStation
from gateway.glance.report_words import picture, report_words, where
from gateway.glance.shown import AlertShown, ClubShown, CountsShown, HealthShown, HeardShown, PartShown
from gateway.glance.tiles import Tile, ago
from gateway.groundwork.duration import in_words

CAUTION = "Not a distress watch: an emergency is shown first, and that promises nothing."

OFF = "DOES NOT ADD UP"
"""Stands beside a sum that is off."""

_MOST_RECEIVER_COLUMNS = 10
_FEWEST_VERDICT_COLUMNS = 12
_MOST_VERDICT_COLUMNS = 27
"""Room for the longest reason; the name of a rule is cut."""

_USUAL_COLUMNS = 80

_SOURCE_COLUMNS = 9
_MOST_PICTURE_COLUMNS = 18
_MOST_RELAY_COLUMNS = 12


def moment(then: datetime, now: datetime) -> str:
    """The time in UTC, with its date where that is not today's."""
    then = then.astimezone(UTC)
    return then.strftime("%H:%M:%S" if then.date() == now.astimezone(UTC).date() else "%Y-%m-%d %H:%M")


def frame_words(frame: WatchedFrame, now: datetime) -> str:
    """One frame: when, by which receiver, from whom, what became of it, what it says."""
    return next(iter(table_of([frame], now, _USUAL_COLUMNS)))


def table_of(frames: Sequence[WatchedFrame], now: datetime, columns: int) -> Iterator[str]:
    """A line for each frame, in cells that fit them all and a screen of so many columns. What they say stands last."""
    receivers = [shown(frame.heard.receiver) for frame in frames]
    verdicts = [shown(_verdict(frame)) for frame in frames]
    receiver_columns = min(max(map(width, receivers), default=0), _MOST_RECEIVER_COLUMNS)
    a_third = min(max((columns + 1) // 3, _FEWEST_VERDICT_COLUMNS), _MOST_VERDICT_COLUMNS)
    verdict_columns = min(max(map(width, verdicts), default=0), a_third)
    for frame, receiver, verdict in zip(frames, receivers, verdicts, strict=True):
        heard = frame.heard
        cells = (
            moment(heard.time, now),
            padded(receiver, receiver_columns),
            padded(shown(heard.source or "?"), _SOURCE_COLUMNS),
            padded(verdict, verdict_columns),
            shown(heard.information or heard.damage),
        )
        yield " ".join(cells).rstrip()


def station_table(stations: Sequence[WatchedStation], now: datetime) -> Iterator[str]:
    """A line for each station, in cells that fit them all. What they say stands last, and may be long."""
    rows = [_cells(station, now) for station in stations]
    most = (_SOURCE_COLUMNS, _MOST_PICTURE_COLUMNS, None, _MOST_RELAY_COLUMNS, None)
    columns = [max(map(width, column)) for column in zip(*rows, strict=True)]
    fitted = [min(widest, bound or widest) for widest, bound in zip(columns, most, strict=False)]
    for *cells, words in rows:
        yield " ".join([*map(padded, cells, fitted), words]).rstrip()


def _cells(station: WatchedStation, now: datetime) -> tuple[str, ...]:
    last, placed = station.last, station.placed
    cells = (
        last.source,
        picture(placed.report if placed and not last.report.symbol else last.report),
        "" if placed is None else where(placed.report),
        f"by {last.relay}" if last.relay else "direct",
        _age(last.time, now),
        report_words(last),
    )
    return tuple(map(shown, cells))


def _age(then: datetime, now: datetime) -> str:
    """The greatest unit alone: `3 s`, `2 min`."""
    return " ".join(in_words(max(0, round((now - then).total_seconds() * 1000))).split(" ")[:2])


def _verdict(frame: WatchedFrame) -> str:
    heard = frame.heard
    if heard.verdict == "keep":
        why = f"keep: {heard.reason}"
        return f"{why} {heard.rule}" if heard.rule else why
    return "sent" if frame.sent else heard.verdict


def emergency_words(heard: HeardShown, now: datetime) -> str:
    """One emergency: who, when, where, and what they say."""
    report = heard.report
    place = ""
    if report.latitude is not None and report.longitude is not None:
        place = f", latitude {report.latitude:.4f}, longitude {report.longitude:.4f}"
    if report.distance_km is not None:
        place += f", {report.distance_km:.1f} km away"
        place += "" if report.bearing_deg is None else f" at {report.bearing_deg:.0f} degrees"
    message = shown(report.comment or heard.information)
    when = f"{moment(heard.time, now)}, {ago(heard.time, now)}"
    return f"EMERGENCY {shown(heard.source)} at {when}{place}: {message}"


def alert_words(alert: AlertShown, now: datetime) -> str:
    """One alert: its name, when, what, and about whom."""
    about = f" ({shown(alert.about)})" if alert.about else ""
    return f"ALERT {shown(alert.name)} at {moment(alert.time, now)}: {shown(alert.what)}{about}"


def part_words(part: PartShown, now: datetime, label_columns: int) -> str:
    """One part: its name, state and since when."""
    return f"{padded(shown(part.label), label_columns)} {part.state:8} since {moment(part.since, now)}"


def why_and_what_to_do(part: PartShown | Tile) -> str:
    """What is wrong with a part or a tile and what the operator can do; empty where there is nothing to say."""
    return "; ".join(shown(words) for words in (part.why, part.do) if words)


def figures(part: PartShown) -> str:
    """What a part counts, as far as there is something to count: `octets 812, shed heard 7`."""
    named = [
        (f"{name} {label}".rstrip(), number)
        for name, of in part.figures.items()
        for label, number in (of.items() if isinstance(of, dict) else [("", of)])
    ]
    return ", ".join(f"{shown(name.replace('_', ' '))} {number:.0f}" for name, number in named if number)


def sums(counts: CountsShown) -> Iterator[str]:
    """The counts as sums that add up, and where one does not, by how much."""
    yield _sum("heard", counts.heard, {"forward": counts.forward, "keep": counts.keep})
    if counts.keep or counts.keep_by_reason:
        yield _sum("keep", counts.keep, counts.keep_by_reason)
    if counts.outcomes is not None:
        yield _sum("forward", counts.forward, {**counts.outcomes, "waiting": counts.waiting})
    if counts.emergencies:
        yield f"emergencies since the gateway started: {counts.emergencies}"


def _sum(whole: str, count: int, parts: Mapping[str, int]) -> str:
    named = " + ".join(f"{shown(name)} {number}" for name, number in parts.items()) or "0"
    total = sum(parts.values())
    off = "" if total == count else f"; {OFF}: {count - total} not accounted for"
    return f"{whole} {count} = {named}{off}"


def busy_words(health: HealthShown, now: datetime) -> Iterator[str]:
    """How busy the post is, how far it reaches, and what was shed."""
    activity, reach = health.activity, health.reach
    if activity is not None:
        last = f"last {ago(activity.last_heard, now)}" if activity.last_heard else "nothing heard yet"
        yield (
            f"{activity.frames_per_minute} frames in the last minute, "
            f"{activity.stations_last_hour} stations in the last hour, {last}"
        )
    if reach is not None:
        far = "" if reach.farthest_km is None else f", the farthest {reach.farthest_km:.1f} km away"
        yield f"heard direct in the last hour: {reach.direct_last_hour} stations{far}"
    shed = [
        f"{shown(sink)} {shown(what)} {count}"
        for sink, of in health.shed.items()
        for what, count in of.items()
        if count
    ]
    if shed:
        yield f"shed, as it could not be told fast enough: {', '.join(shed)}"


def club_words(club: ClubShown | None, now: datetime) -> Iterator[str]:
    """Who sends for the club, and what each post is worth."""
    if club is None:
        return
    sender = "this hub" if club.holds else shown(club.holder) or "no hub"
    yield f"the club: {sender} sends"
    for post in club.posts:
        yield (
            f"post {shown(post.name)}: {post.frames_last_minute} frames in the last minute, {post.alone} heard by it "
            f"alone, {post.first_share:.0%} heard first, last word {ago(post.last_word, now)}"
        )
