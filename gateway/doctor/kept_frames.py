"""The last frames that the journal holds, and where the sender of a frame that came direct says that it is."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from pydantic import ValidationError

from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Place
from gateway.glance.shown import HeardShown
from gateway.journal.reading import latest_heard
from gateway.journal.trouble import JournalError
from gateway.reports import Kind
from gateway.reports import read as read_report

MOST_FRAMES = 2000


def last_frames(journal: Path) -> tuple[HeardShown, ...]:
    """The last frames of a journal, newest first; none where it cannot be read, which is told elsewhere."""
    try:
        return tuple(_shown(latest_heard(journal, MOST_FRAMES)))
    except JournalError:
        return ()


def direct_place(heard: Heard) -> Place | None:
    """Where the sender of a frame says that it is, if it was heard without a repeater and a relay."""
    frame = heard.frame
    if not isinstance(frame, Frame) or frame.header.hops or frame.information.startswith(b"}"):
        return None
    report = read_report(frame.destination, frame.information)
    if report.position is None or report.kind not in {Kind.POSITION, Kind.WEATHER}:
        return None
    return Place(report.position.latitude, report.position.longitude)


def heard_ms(kept: HeardShown) -> int:
    """When a frame that the journal holds was heard, in Unix milliseconds."""
    return round(kept.time.timestamp() * 1000)


def kept_direct_place(kept: HeardShown) -> Place | None:
    """The same of a frame that the journal holds."""
    report = kept.report
    if kept.relay or report.kind not in {Kind.POSITION, Kind.WEATHER}:
        return None
    if report.latitude is None or report.longitude is None:
        return None
    return Place(report.latitude, report.longitude)


def _shown(objects: list[bytes]) -> Iterator[HeardShown]:
    for octets in objects:
        with contextlib.suppress(ValidationError):  # a row of another version, or damaged
            yield HeardShown.model_validate_json(octets)
