"""Alerts: what the operator wants to be told of at once, as plain objects."""

from enum import StrEnum

from gateway.frames.plain import PlainObject, rfc3339
from gateway.judge.verdict import Judged


class AlertKind(StrEnum):
    """What an alert is about."""

    EMERGENCY = "emergency"
    """A station says that it is in an emergency. Not a distress watch: nothing promises that it is seen."""


def emergency_alert(judged: Judged, heard: PlainObject) -> PlainObject:
    """The alert for a frame that says emergency, whose heard object is `heard`.

    A broker may deliver an alert twice: `run` and `sequence` of the heard object tell the copies of one from another.
    """
    return {
        "alert": AlertKind.EMERGENCY,
        "time": rfc3339(judged.heard.moment.time_ms),
        "heard": heard,
    }
