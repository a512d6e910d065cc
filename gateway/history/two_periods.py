"""The reach of two periods compared, by their days, with the result in words: before and after a new antenna. Pure."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median_low

from gateway.frames.plain import PlainObject
from gateway.history.rank_sum import BY_CHANCE, FEWEST_VALUES, rank_sum

TEST = "rank-sum test (Wilcoxon, Mann, Whitney), two-sided, on the values of whole days"
CERTAIN = 0.001
"""Smaller probabilities are told as smaller than this."""


@dataclass(frozen=True, slots=True)
class DayReach:
    """The reach of one day of UTC on which the gateway ran."""

    day: int
    """Since 1970."""

    stations: int
    """Heard direct."""

    p95_m: int | None
    """95th percentile of the distance over the frames heard direct; None: there was none."""

    farthest_m: int | None


@dataclass(frozen=True, slots=True)
class _DayMeasure:
    name: str
    what: str
    unit: str
    of: Callable[[DayReach], float | None]


_MEASURES = (
    _DayMeasure("stations", "stations heard direct in a day", "", lambda day: day.stations),
    _DayMeasure(
        "p95_km",
        "95th percentile of the distance heard direct in a day",
        " km",
        lambda day: None if day.p95_m is None else day.p95_m / 1000,
    ),
)


def compare(ours: Sequence[DayReach], theirs: Sequence[DayReach]) -> PlainObject:
    """What the days of a period say beside those of another, `theirs`, in the plain form."""
    return {"test": TEST, "results": [_compared(measure, ours, theirs) for measure in _MEASURES]}


def _compared(measure: _DayMeasure, ours: Sequence[DayReach], theirs: Sequence[DayReach]) -> PlainObject:
    first, second = list(_values(measure, ours)), list(_values(measure, theirs))
    plain: PlainObject = {
        "measure": measure.name,
        "what": measure.what,
        "days": len(first),
        "days_against": len(second),
        "median": median_low(first) if first else None,
        "median_against": median_low(second) if second else None,
        "p": None,
        "differs": None,
    }
    if min(len(first), len(second)) >= FEWEST_VALUES:
        plain["p"] = rank_sum(first, second).p
        plain["differs"] = plain["p"] < BY_CHANCE
    return {**plain, "words": _words(measure, first, second, plain["p"])}


def _values(measure: _DayMeasure, days: Sequence[DayReach]) -> Iterator[float]:
    return (value for day in days if (value := measure.of(day)) is not None)


def _words(measure: _DayMeasure, first: Sequence[float], second: Sequence[float], p: float | None) -> str:
    what = measure.what[0].upper() + measure.what[1:]
    if not first or not second:
        return f"{what}: there is nothing to compare with."
    unit = measure.unit
    if p is None and len(first) == 1:
        below = sum(value < first[0] for value in second)
        return (
            f"{what}: {first[0]:g}{unit} on this day, more than on {below} of the {_days(len(second))} compared with; "
            "one day proves nothing."
        )
    middle = f"the middle day has {median_low(first):g}{unit}, the one compared with {median_low(second):g}{unit}"
    if p is None:
        return f"{what}: {middle}; it takes {FEWEST_VALUES} days in each period to tell a difference from chance."
    how_likely = f"less than {CERTAIN:g}" if p < CERTAIN else f"{p:.3f}"
    if p >= BY_CHANCE:
        return f"{what}: no difference that chance would not explain; {middle} (p = {how_likely})."
    pairs = rank_sum(first, second).u / (len(first) * len(second))
    more = "more" if pairs > 0.5 else "less"  # noqa: PLR2004 - the half of all pairs
    return f"{what}: {more} than before, and not by chance; {middle} (p {'' if p < CERTAIN else '= '}{how_likely})."


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"
