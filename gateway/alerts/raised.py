"""The alerts that were raised lately, and whether they still hold or are over. Bounded; no I/O, no clock."""

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gateway.alerts.alert import AlertKind
from gateway.feed.last_day import HIGHEST_TIME_MS
from gateway.feed.reader import named_by
from gateway.frames.heard import Moment
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject, from_rfc3339, rfc3339
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.duration import SECOND_MS
from gateway.groundwork.remembered import in_pieces, listed

MOST_RAISED = 100
"""Past it the one raised least lately is forgotten."""

ALERTS_OF_A_PIECE = 20


@dataclass(slots=True)
class RaisedAlert:
    """One alert, told once or again and again. Times are Unix milliseconds."""

    number: int
    """Counts from 1 over restarts: by it a browser knows which alerts were seen."""

    alert: PlainObject
    """As it was told last."""

    first_ms: int
    last_ms: int
    times: int
    holds: bool
    """Whether it goes on, as far as is known. What does not last is over at once."""

    over_ms: int | None = None
    """When it was noticed to be over; None: it holds, or never lasted."""


class RaisedAlerts:
    """Told of every alert, and when what raised it is over."""

    def __init__(self) -> None:
        self._number = 0
        self._raised = BoundedMapping[tuple[str, str, int], RaisedAlert](MOST_RAISED)
        """By entry, whom it is about, and number."""

        self._going_on: dict[tuple[str, str], RaisedAlert] = {}

    def note(self, alert: PlainObject) -> None:
        """An alert was raised."""
        key = str(alert["name"]), whom(alert)
        at_ms = from_rfc3339(alert["time"])
        going_on = self._going_on.get(key) if "repeated" in alert else None
        if going_on is not None:
            going_on.alert, going_on.last_ms = alert, at_ms
            going_on.times += 1
            return
        self._number += 1
        lasts = alert["kind"] != AlertKind.MATCH or "since" in alert
        self._put(key, RaisedAlert(self._number, alert, at_ms, at_ms, 1, holds=lasts))

    def is_over(self, name: str, about: str, time_ms: int) -> None:
        """What an entry raised about someone is over."""
        raised = self._going_on.pop((name, about), None)
        if raised is not None:
            raised.holds = False
            raised.over_ms = time_ms

    def to_objects(self, moment: Moment) -> list[PlainObject]:
        """The plain form of each now, emergencies that hold first, then the newest first."""
        newest = sorted(self._raised.values(), key=lambda one: (_is_emergency(one), one.number), reverse=True)
        return [_object(one, moment.time_ms) for one in newest]

    def dump(self) -> Iterator[list[list[object]]]:
        """All of them, in pieces."""
        for some in in_pieces(list(self._raised.values()), ALERTS_OF_A_PIECE):
            yield [
                [one.number, one.alert, one.first_ms, one.last_ms, one.times, one.holds, one.over_ms] for one in some
            ]

    def restore(self, entries: object, names: Collection[str]) -> None:
        """Take in a piece; what is of another shape is left out.

        What no entry of these names watches any more is over: nobody would notice when it ends.
        """
        for entry in listed(entries):
            match entry:
                case [
                    int(number), dict(alert), int(first_ms), int(last_ms), int(times), bool(holds),
                    int() | None as over_ms,
                ] if _is_alert(alert) and all(
                    0 < each <= HIGHEST_NUMBER for each in (number, times)
                ) and all(_is_time(each) for each in (first_ms, last_ms, over_ms or 0)):  # fmt: skip
                    self._number = max(self._number, number)
                    holds &= alert["name"] in names
                    key = alert["name"], whom(alert)
                    self._put(key, RaisedAlert(number, alert, first_ms, last_ms, times, holds, over_ms))

    def _put(self, key: tuple[str, str], raised: RaisedAlert) -> None:
        self._raised[*key, raised.number] = raised
        if raised.holds:
            self._going_on[key] = raised
        for gone in [each for each, one in self._going_on.items() if (*each, one.number) not in self._raised]:
            del self._going_on[gone]


def whom(alert: Mapping[str, Any]) -> str:
    """Whom or what an alert is about, as its watch tells things apart: a station, what it placed, or a receiver."""
    heard = alert.get("heard")
    if not isinstance(heard, Mapping):
        return str(alert.get("source") or alert.get("receiver") or "")
    source, report = str(heard.get("source")), heard.get("report")
    is_match = alert["kind"] == AlertKind.MATCH
    return named_by(source, report) if is_match and isinstance(report, Mapping) else source


def _is_emergency(raised: RaisedAlert) -> bool:
    return raised.holds and raised.alert["kind"] == AlertKind.EMERGENCY


def _object(raised: RaisedAlert, now_ms: int) -> PlainObject:
    plain: PlainObject = {
        "number": raised.number,
        "first": rfc3339(raised.first_ms),
        "last": rfc3339(raised.last_ms),
        "times": raised.times,
        "age_s": max(0, now_ms - raised.last_ms) // SECOND_MS,
        "holds": raised.holds,
        "alert": raised.alert,
    }
    return plain if raised.over_ms is None else {**plain, "over": rfc3339(raised.over_ms)}


def _is_alert(plain: Mapping[str, Any]) -> bool:
    words = [plain.get(name) for name in ("kind", "name", "time", "what")]
    return all(isinstance(word, str) for word in words) and plain["kind"] in set(AlertKind)


def _is_time(time_ms: int) -> bool:
    return 0 <= time_ms <= HIGHEST_TIME_MS
