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


def alert_object(  # noqa: PLR0913 - the fields of the object
    kind: AlertKind,
    name: str,
    moment: Moment,
    what: str,
    *,
    since_ms: int | None = None,
    repeated: bool = False,
    **about: object,
) -> PlainObject:
    """What an entry raises; `since_ms` is when that began, for what lasts (Unix milliseconds).

    `about` is the `heard` object of the frame, the `source` that is silent, or the `receiver` that hears nothing.
    """
    plain: PlainObject = {"kind": kind, "name": name, "time": rfc3339(moment.time_ms), "what": what}
    if repeated:
        plain["repeated"] = True
    if since_ms is not None:
        plain["since"] = rfc3339(since_ms)
    return plain | about


def emergency_alert(judged: Judged, heard: PlainObject, *, repeated: bool = False) -> PlainObject:
    """The alert for a frame that says emergency, whose heard object is `heard`.

    A broker may deliver an alert twice: `run` and `sequence` of the heard object tell the copies of one from another.
    """
    what = "a station says that it is in an emergency; this is not a distress watch"
    moment = judged.heard.moment
    return alert_object(AlertKind.EMERGENCY, "emergency", moment, what, repeated=repeated, heard=heard)
