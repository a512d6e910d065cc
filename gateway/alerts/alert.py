"""Alerts: what the operator wants to be told of at once, as plain objects.

What an alert says is in our words and the station file's; what came from the air stands in its heard object alone.
"""

from enum import StrEnum

from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged


class AlertKind(StrEnum):
    """What an alert is about."""

    EMERGENCY = "emergency"
    """A station says that it is in an emergency. Not a distress watch: nothing promises that it is seen."""

    MATCH = "match"
    """A frame met what an entry of `alerts:` asks."""

    SILENT = "silent"
    """A station was not heard for too long."""

    DEAF = "deaf"
    """The post, or one receiver of it, heard nothing for too long."""


def emergency_alert(judged: Judged, heard: PlainObject, *, repeated: bool = False) -> PlainObject:
    """The alert for a frame that says emergency, whose heard object is `heard`.

    A broker may deliver an alert twice: `run` and `sequence` of the heard object tell the copies of one from another.
    """
    what = "a station says that it is in an emergency; this is not a distress watch"
    return {**_head(AlertKind.EMERGENCY, "emergency", judged.heard.moment, what, repeated=repeated), "heard": heard}


def match_alert(  # noqa: PLR0913 - the fields of the object
    name: str, judged: Judged, heard: PlainObject, what: str, *, since_ms: int | None, repeated: bool
) -> PlainObject:
    """The alert for a frame that meets an entry; `since_ms` is when that began, for what lasts (Unix milliseconds)."""
    head = _head(AlertKind.MATCH, name, judged.heard.moment, what, repeated=repeated)
    if since_ms is not None:
        head["since"] = rfc3339(since_ms)
    return {**head, "heard": heard}


def silent_alert(  # noqa: PLR0913 - the fields of the object
    name: str, source: str, moment: Moment, what: str, *, since_ms: int, repeated: bool
) -> PlainObject:
    """The alert for a listed station that was not heard since then."""
    head = _head(AlertKind.SILENT, name, moment, what, repeated=repeated)
    return {**head, "since": rfc3339(since_ms), "source": source}


def deaf_alert(  # noqa: PLR0913 - the fields of the object
    name: str, receiver: str | None, moment: Moment, what: str, *, since_ms: int, repeated: bool
) -> PlainObject:
    """The alert for a receiver, or where it is None for the whole post, that heard nothing since then."""
    head = _head(AlertKind.DEAF, name, moment, what, repeated=repeated)
    return {**head, "since": rfc3339(since_ms), **({} if receiver is None else {"receiver": receiver})}


def _head(kind: AlertKind, name: str, moment: Moment, what: str, *, repeated: bool) -> PlainObject:
    head: PlainObject = {"kind": kind, "name": name, "time": rfc3339(moment.time_ms), "what": what}
    if repeated:
        head["repeated"] = True
    return head
