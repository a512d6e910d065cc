"""The report of a judged frame as a plain object, with what only this post knows of it: how far, where, and by name."""

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from gateway import reports
from gateway.feed.telemetry import TelemetryMemory
from gateway.frames.frame import Frame
from gateway.frames.heard import Place
from gateway.frames.plain import PlainObject
from gateway.judge.conditions import Post, origin_of
from gateway.judge.verdict import Judged, Reason

REMEMBERED_REPORTS = 256
"""As many as are written to the journal at one go."""


class ReportReader:
    """Reads reports for one post. An instance is a `heard_object.Reader`, and may be called for a frame at any time.

    Where its `telemetry` first hears every frame, in the order of hearing, telemetry has its names and units.
    """

    def __init__(self, post: Post, telemetry: TelemetryMemory | None = None) -> None:
        self.telemetry = TelemetryMemory() if telemetry is None else telemetry
        self.origin = post.origin
        """Where distances are reckoned from; None where it is not known. It remembers the last of them."""

    def __call__(self, judged: Judged) -> PlainObject | None:
        """What the innermost frame reports; None where the frame is damaged."""
        frame = judged.innermost
        if frame is None:
            return None
        report = _report_of(frame, judged.information)
        plain = reports.to_object(report)
        channels = self.telemetry.channels(frame.source, report, judged.heard.sequence)
        if channels is not None:
            plain["channels"] = channels
        position = report.position
        origin = origin_of(judged.heard, self.origin)
        if position is not None and origin is not None:
            line = origin.line_to(position.latitude, position.longitude)
            plain["distance_km"] = round(line.distance_km, 3)
            plain["bearing_deg"] = round(line.bearing_deg, 1) % 360
        return plain


ABOUT_SOMETHING_ELSE = frozenset({reports.Kind.OBJECT, reports.Kind.ITEM})
"""Reports whose position is that of what they name, not that of their sender."""

OF_THE_SENDER = frozenset({reports.Kind.POSITION, reports.Kind.WEATHER})
"""Reports whose place, where they have one, is that of their sender."""

NO_REPORT = frozenset({Reason.NOT_UI, Reason.WRONG_PID})
"""The information of a frame that was kept for this is no report, whatever it looks like."""


def named_by(source: str, report: Mapping[str, Any]) -> str:
    """Whom or what a report in its plain form is about: the station, or the thing that it placed on the map."""
    name = report.get("name") if report.get("kind") in ABOUT_SOMETHING_ELSE else None
    return source if name is None else f"{source} {name}"


def place_of_sender(judged: Judged) -> Place | None:
    """Where the sender of a frame says that it is; None: it does not."""
    if judged.innermost is None:
        return None
    report = _report_of(judged.innermost, judged.information)
    position = report.position
    if position is None or report.kind in ABOUT_SOMETHING_ELSE:
        return None
    return Place(position.latitude, position.longitude)


def _report_of(frame: Frame, information: bytes) -> reports.Report:
    return _read(frame.destination, information)


@lru_cache(REMEMBERED_REPORTS)
def _read(destination: str, information: bytes) -> reports.Report:
    """What is read for one who asks is asked for by the next soon after."""
    return reports.read(destination, information)
