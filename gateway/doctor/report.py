"""The diagnosis as one text that is safe to paste: no secrets, no folder of a user, no place nearer than a field.

A field of the locator is twenty degrees wide and ten high (IARU): enough to know which band plan and which sky.
"""

import re
from collections.abc import Iterator
from pathlib import Path

from gateway.doctor.doctor import Diagnosis
from gateway.groundwork.printable import printable
from gateway.reports import locator
from gateway.settings import StationText

_FIELD = 2
_LOCATOR = re.compile(r"\b([A-R]{2})[0-9]{2}(?:[A-X]{2}(?:[0-9]{2})?)?\b", re.IGNORECASE | re.ASCII)
_DEGREES = re.compile(r"(?<![\w.])-?\d{1,3}\.\d{2,}(?![\w.])")
_HOME = re.compile(r"(/home|/Users)/[^/\s:]+")
_PLACED = frozenset({"station file", "place"})
"""Checks whose words may quote the operator's place."""


def in_report(diagnosis: Diagnosis) -> str:
    """The text, its last line ended."""
    station = diagnosis.evidence.station
    lines = ["stile doctor", *_about(station), ""]
    for finding in diagnosis.findings:
        whole = finding.in_report or " -> ".join(filter(None, (finding.what, finding.do)))
        subject = f"{finding.subject}: " if finding.subject else ""
        text = _without_place(f"{subject}{whole}") if finding.check in _PLACED else f"{subject}{whole}"
        lines.append(f"{finding.grade}  {finding.check}: {text}")
    lines += ["", diagnosis.summary(), ""]
    return "\n".join(printable(_without_home(line)) for line in lines)


def _about(station: StationText | None) -> Iterator[str]:
    if station is None:
        return
    settings, post = station.settings, station.settings.post
    if post.latitude is not None and post.longitude is not None:
        yield f"place: field {locator.write(post.latitude, post.longitude)[:_FIELD]}"
    for receiver in settings.receivers:
        yield f"receiver {receiver.name}: {receiver.address}"
    sections = ("uplink", "bus", "lines", "web", "journal", "club")
    yield f"sections: {', '.join(name for name in sections if getattr(settings, name) is not None)}"


def _without_place(text: str) -> str:
    return _DEGREES.sub("(degrees)", _LOCATOR.sub(r"\1..", text))


def _without_home(text: str) -> str:
    """Whose computer it is does not matter."""
    own = str(Path.home())
    return _HOME.sub(r"\1/(somebody)", text.replace(own, "~") if len(own) > 1 else text)
