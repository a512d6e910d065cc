"""What `stile reach` tells: how far the antenna hears in each sector, beside another period where one is named."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from gateway.commands.journal_of import inquiry_of, period_until_now, post_of
from gateway.frames.plain import PlainObject
from gateway.groundwork.printable import printable
from gateway.history.antenna import MeasuredBy

FIELDS = (
    "from_deg", "to_deg", "frames", "stations", "median_km", "p95_km", "farthest_km", "farthest_station",
    "farthest_time",
)  # fmt: skip
WIDEST_BAR = 30


@dataclass(frozen=True, slots=True)
class ToldReach:
    """The reach of the antenna, to be told."""

    reach: PlainObject

    def to_object(self) -> PlainObject:
        """The plain form, as `/api/reach` tells it."""
        return self.reach

    def in_words(self) -> str:
        """A line for each sector, and what the comparison says."""
        lines = list(_lines(self.reach))
        compare = self.reach.get("compare")
        if compare is not None:
            lines += ["", f"Compared with {_period(compare)}:", ""]
            lines += [f"  {result['words']}" for result in compare["results"]]
            lines.append(f"  ({compare['test']})")
        return "\n".join(lines)

    def rows(self) -> Iterator[Sequence[object]]:
        """For a table, a heading first."""
        yield FIELDS
        for sector in self.reach["sectors"]:
            yield ["" if sector[name] is None else sector[name] for name in FIELDS]


def reach(station: Path, since: str, against: str | None, by_post: str | None = None) -> ToldReach:
    """The reach, of one post of a club or of all. Raises `DocumentError`, `AskedWronglyError`."""
    post = post_of(by_post, station)
    period = period_until_now("--since", since)
    other = None if against is None else period_until_now("--against", against, period.from_ms)
    with inquiry_of(station) as inquiry:
        return ToldReach(inquiry.reach(period, post) if other is None else inquiry.reach_against(period, other, post))


def _lines(reach: PlainObject) -> Iterator[str]:
    whole = reach["whole"]
    by_post = f"by {reach['post']}, distances from there, " if "post" in reach else ""
    yield f"Heard direct {by_post}{_period(reach)}"
    if "kept_since" in reach:
        yield f"Frames are kept since {reach['kept_since'][:16]}Z: what one post heard before is not known any more."
    if not whole["frames"]:
        yield "Nothing that counts: no station's own position came without a repeater, or this post's is not known."
        return
    longest = whole["farthest_km"] or 1
    yield ""
    yield f"{'sector':>9} {'frames':>8} {'stations':>9} {'median':>8} {'95 %':>8} {'farthest':>9}  km"
    for sector in reach["sectors"]:
        name = f"{sector['from_deg']:03}-{sector['to_deg']:03}°"
        if not sector["frames"]:
            yield f"{name:>9} {0:>8}"
            continue
        bar = "█" * max(1, round(sector["farthest_km"] / longest * WIDEST_BAR))
        yield f"{name:>9} {_numbers(sector)}  {bar} {printable(sector['farthest_station'])}"
    yield f"{'all':>9} {_numbers(whole)}  {printable(whole['farthest_station'])}, {whole['farthest_time'][:10]}"
    if reach["implausible_frames"]:
        yield f"{reach['implausible_frames']:,} frames said to come from beyond 1,500 km: they are in no sector."
    if reach["measured_by"] == MeasuredBy.CLASSES:
        yield "Medians and percentiles come from classes of distance, 1 km wide and more: the frames are gone."


def _numbers(sector: PlainObject) -> str:
    kilometres = (sector["median_km"], sector["p95_km"])
    near, far = (f"{value:8.1f}" for value in kilometres)
    return f"{sector['frames']:>8,} {sector['stations']:>9,} {near} {far} {sector['farthest_km']:9.1f}"


def _period(plain: PlainObject) -> str:
    return f"from {plain['from'][:16]}Z to {plain['to'][:16]}Z"
