"""Judged frames for tests of what comes after the judge."""

from collections.abc import Sequence
from typing import Protocol

from gateway.feed.heard_object import HeardPayload, Reader, no_report
from gateway.feed.stations import Stations
from gateway.frames import third_party, tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment
from gateway.judge.emergency import is_emergency
from gateway.judge.verdict import Decision, Judged, Reason, Verdict

POLICY = "receive-only@3fa9c1"

NOON_MS = 1_780_747_200_000
"""2026-06-06T12:00:00Z."""


class Post:
    """A listening post whose clock stands still until it is told to go on."""

    def __init__(self, run: str = "0f1e2d3c4b5a") -> None:
        self.run = run
        self.moment = Moment(0, NOON_MS)
        self._sequence = 0

    def now(self) -> Moment:
        """What its clocks show."""
        return self.moment

    def wait(self, milliseconds: int) -> None:
        """Let time pass."""
        self.moment = Moment(self.moment.elapsed_ms + milliseconds, self.moment.time_ms + milliseconds)

    def hear(
        self,
        line: bytes,
        *,
        reason: Reason | None = None,
        rule: str | None = None,
        receiver: str = "vhf",
        port: int = 0,
    ) -> Judged:
        """The frame of a line of monitor text, judged `forward`, or `keep` for `reason`."""
        self._sequence += 1
        frame = tnc2.read(line)
        heard = Heard(self.run, self._sequence, self.moment, receiver, port, frame)
        if not isinstance(frame, Frame):
            return Judged(heard, Verdict(Decision.KEEP, POLICY, Reason.DAMAGED), None)
        decision = Decision.KEEP if reason else Decision.FORWARD
        innermost = third_party.unwrap(frame).innermost
        information = tnc2.first_line(innermost.information)
        return Judged(
            heard,
            Verdict(decision, POLICY, reason, rule),
            innermost,
            information,
            is_emergency(innermost, information),
        )


class Told(Protocol):
    """One that is told of what is heard, and looks at the station memory for the rest."""

    stations: Stations

    def offer(self, frames: Sequence[HeardPayload]) -> None: ...


def offer(told: Told, judged: Judged, read_report: Reader = no_report, line: bytes = b"") -> HeardPayload:
    """Tell of a judged frame as the service does: the station memory first."""
    payload = HeardPayload(judged, read_report, line)
    told.stations.hear(payload)
    told.offer([payload])
    return payload
