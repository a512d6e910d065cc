"""What `stile forget` does: takes one station's history out of all that is kept of it, when its operator asks for it.

What stays is counted without a name: the sums by the hour, and the frames of others that name the station in their
path or write to it. The gateway must not run meanwhile: it would write anew what it remembers.
"""

import asyncio
from dataclasses import dataclass, field

from gateway.bus.conversation import clear
from gateway.bus.topics import Topics
from gateway.documents import DocumentError, Problem
from gateway.frames.plain import PlainObject
from gateway.journal.forgetting import Forgotten
from gateway.journal.forgetting import forget as forget_on_disk
from gateway.journal.trouble import JournalError
from gateway.settings import StationFile


@dataclass(slots=True)
class ForgottenStation:
    """What was taken out, and what could not be."""

    station: str
    taken: Forgotten
    topic: str = ""
    """What the broker was told to forget; empty where there is no broker."""

    trouble: list[str] = field(default_factory=list)
    """What is left, and what to do about it."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {
            "station": self.station,
            "frames": self.taken.frames,
            "days": self.taken.days,
            "captured_frames": self.taken.captured,
            "captures_rewritten": self.taken.rewritten,
            "topic": self.topic or None,
            "trouble": list(self.trouble),
        }

    def in_words(self) -> str:
        """A line for each place."""
        taken = self.taken
        lines = [
            f"{self.station} was forgotten. Taken away:",
            f"  from the journal: frames {taken.frames:,}, days of its sums {taken.days:,}",
            f"  from captures: frames {taken.captured:,}, files written anew {taken.rewritten:,}",
        ]
        if self.topic and not self.trouble:
            lines.append(f"  the broker forgot {self.topic}")
        return "\n".join([*lines, *(f"left: {trouble}" for trouble in self.trouble)])


def forget(station: StationFile, callsign: str) -> ForgottenStation:
    """Forget a station, named as it is heard. Raises `DocumentError` where the journal cannot be written."""
    journal, captures = station.journal, station.captures
    try:
        taken = forget_on_disk(journal.path if journal else None, captures.folder if captures else None, callsign)
    except JournalError as error:
        raise DocumentError([Problem(str(station.path), 1, "journal", str(error))]) from None
    forgotten = ForgottenStation(callsign, taken)
    _forget_at_broker(station, forgotten)
    return forgotten


def _forget_at_broker(station: StationFile, forgotten: ForgottenStation) -> None:
    options, settings = station.bus, station.settings.bus
    if options is None or settings is None or settings.embedded:  # the embedded one keeps nothing over a restart
        return
    forgotten.topic = Topics(options.base, options.callsign).station(forgotten.station)
    trouble = asyncio.run(clear(options, forgotten.topic))
    if trouble is not None:
        forgotten.trouble.append(
            f"{forgotten.topic} at the broker: {trouble}, and do this again before the gateway starts"
        )
    if settings.discovery is not None and forgotten.station in settings.discovery.callsigns:
        forgotten.trouble.append(
            f"{forgotten.station} stands in the station file under bus.discovery.callsigns: take it out"
        )
