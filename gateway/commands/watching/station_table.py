"""The stations of a watch as the lines of a table: who, what, how far, by whom, when, and what they say. No I/O."""

from collections.abc import Iterator, Sequence
from datetime import datetime

from gateway.commands.watching.columns import padded, shown, width
from gateway.commands.watching.watched import WatchedStation
from gateway.glance.report_words import picture, report_words, where
from gateway.groundwork.duration import in_words

_SOURCE_COLUMNS = 9
_MOST_PICTURE_COLUMNS = 18
_MOST_RELAY_COLUMNS = 12


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
