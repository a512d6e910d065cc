"""What the journal tells of the last frames: when, by which receiver, and from where those came that came direct."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Place
from gateway.groundwork.duration import SECOND_MS
from gateway.journal.latest import latest_heard
from gateway.journal.trouble import JournalError
from gateway.reports import Kind
from gateway.reports import read as read_report

MOST_FRAMES = 2000
_OF_THE_SENDER = frozenset({"position", "weather"})
"""Reports whose place is that of their sender: an object's or an item's is not."""


@dataclass(frozen=True, slots=True)
class KeptFrame:
    """One frame that the journal holds, as far as the doctor asks."""

    time_ms: int
    receiver: str
    source: str
    direct_from: Place | None
    """Where its sender says that it is; None where it does not, or the frame came by a repeater or a relay."""


def last_frames(journal: Path) -> tuple[KeptFrame, ...]:
    """The last frames of a journal, newest first; none where it cannot be read, which is told elsewhere."""
    try:
        return tuple(_kept(latest_heard(journal, MOST_FRAMES)))
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


def _kept(objects: list[bytes]) -> Iterator[KeptFrame]:
    for octets in objects:
        try:
            heard = json.loads(octets)
            time_ms = int(datetime.fromisoformat(heard["time"]).timestamp() * SECOND_MS)
            yield KeptFrame(time_ms, str(heard["receiver"]), str(heard.get("source", "")), _direct_from(heard))
        except (ValueError, TypeError, KeyError, AttributeError, OverflowError):
            continue  # a row of another version, or damaged


def _direct_from(heard: Mapping[str, Any]) -> Place | None:
    report = heard.get("report") or {}
    relayed = "outer" in heard or any(str(entry).endswith("*") for entry in heard.get("path", ()))
    if relayed or report.get("kind") not in _OF_THE_SENDER or "latitude" not in report:
        return None
    return Place(float(report["latitude"]), float(report["longitude"]))
