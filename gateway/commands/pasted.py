"""A frame as people paste it: a line of monitor text, with a time or a receiver before it or not, or a heard object."""

import re
import time
from dataclasses import replace

from gateway.frames import tnc2
from gateway.frames.capture import MAXIMUM_LINE_OCTETS, read_object
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.heard import Heard, Moment
from gateway.frames.plain import PlainFormError, from_object
from gateway.replay.record import because_no_heard_object
from gateway.replay.timed_lines import UNNAMED_RECEIVER, TimedLineError, TimedLines

RUN = "pasted"
"""The run of what was pasted: all of it is one."""

_RECEIVER_FIRST = re.compile(
    rb"(?P<receiver>[A-Za-z0-9][A-Za-z0-9_.-]{0,62}):?[ \t]+(?=[^ \t]*>)(?P<line>.*)", re.DOTALL
)


class PastedFrames:
    """Reads such lines, one after the other; whatever cannot be read is heard, as damaged."""

    def __init__(self, receiver: str, now_ms: int | None = None) -> None:
        """`receiver` heard what names none. What says no time is heard when the line before it was, or now."""
        self._receiver = receiver
        self._time_ms = time.time_ns() // 1_000_000 if now_ms is None else now_ms
        self._timed_before = False
        self._elapsed_ms = 0
        self._sequence = 0

    def read(self, line: bytes) -> Heard:
        """The frame in `line`, which has no line end."""
        if len(line) > MAXIMUM_LINE_OCTETS:
            return self._heard(damaged(f"longer than {MAXIMUM_LINE_OCTETS} octets", line[:64]))
        if line.lstrip().startswith(b"{"):
            return self._of_object(line)
        try:
            timed = TimedLines().read(line)
        except TimedLineError as error:
            return self._heard(damaged(str(error), line))
        if timed is not None:
            receiver = self._receiver if timed.receiver == UNNAMED_RECEIVER else timed.receiver
            return self._placed(replace(timed, receiver=receiver))
        match = _RECEIVER_FIRST.fullmatch(line)
        if match is not None:
            return self._heard(tnc2.read(match["line"]), match["receiver"].decode("ascii"))
        return self._heard(tnc2.read(line))

    def _of_object(self, line: bytes) -> Heard:
        try:
            return self._placed(from_object(read_object(line)))
        except PlainFormError as error:
            return self._heard(damaged(because_no_heard_object(error), line))

    def _heard(self, frame: Frame | Damaged, receiver: str | None = None) -> Heard:
        moment = Moment(self._elapsed_ms, self._time_ms)
        return self._placed(Heard(RUN, 1, moment, receiver or self._receiver, 0, frame), timed=False)

    def _placed(self, heard: Heard, *, timed: bool = True) -> Heard:
        """The same, in its place after those before it; a time before the last one's counts as that."""
        if timed:
            if self._timed_before:
                self._elapsed_ms += max(0, heard.moment.time_ms - self._time_ms)
            self._time_ms, self._timed_before = heard.moment.time_ms, True
        self._sequence += 1
        return replace(heard, run=RUN, sequence=self._sequence, moment=Moment(self._elapsed_ms, self._time_ms))
