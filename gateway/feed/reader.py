"""The report of a judged frame as a plain object, with what only this post knows of it: how far and where from here."""

from gateway import reports
from gateway.frames.plain import PlainObject
from gateway.frames.tnc2 import first_line
from gateway.judge.conditions import Post
from gateway.judge.verdict import Judged


class ReportReader:
    """Reads reports for one post. An instance is a `heard_object.Reader`."""

    def __init__(self, post: Post) -> None:
        self._origin = post.origin

    def __call__(self, judged: Judged) -> PlainObject | None:
        """What the innermost frame reports; None where the frame is damaged."""
        frame = judged.innermost
        if frame is None:
            return None
        report = reports.read(frame.destination, first_line(frame.information))
        plain = reports.to_object(report)
        position = report.position
        if position is not None and self._origin is not None:
            line = self._origin.line_to(position.latitude, position.longitude)
            plain["distance_km"] = round(line.distance_km, 3)
            plain["bearing_deg"] = round(line.bearing_deg, 1) % 360
        return plain
