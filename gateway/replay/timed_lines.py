"""Time-stamped lines of TNC-2 text: `TIME LINE`, or `TIME RECEIVER LINE`.

TIME is an RFC 3339 time or Unix seconds, with a fraction or without. What stands after the white space is a line as a
receiver gives it, octet for octet. A word without `>` names the receiver where the next word has a `>`, as the first
one of such a line has. There is but one clock, so that the time which elapsed is derived from it.
"""

import re

from gateway.frames import tnc2
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.heard import Heard, Moment
from gateway.frames.plain import from_rfc3339

RUN = "timed-lines"
"""The run of such lines: no start of a gateway shows in them, so that all of them are one."""

UNNAMED_RECEIVER = "capture"
"""Who heard a line that does not say so."""

_TIMED_LINE = re.compile(
    rb"(?:(?P<date>\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(?:\.\d{1,9})?(?:[Zz]|[+-]\d\d:\d\d))"
    rb"|(?P<seconds>\d{1,11})(?:\.(?P<fraction>\d{1,9}))?)"
    rb"[ \t]+(?:(?P<receiver>[A-Za-z0-9][A-Za-z0-9_.-]{0,62})[ \t]+(?=[^ \t]*>))?(?P<line>.*)",
    re.DOTALL,
)


class TimedLineError(ValueError):
    """A line is no time-stamped one; the message says why."""


class TimedLines:
    """Reads such lines, one after the other, as the frames of one run."""

    def __init__(self) -> None:
        self._sequence = 0
        self._elapsed_ms = 0
        self._last_ms: int | None = None
        self.clock_set_back = 0

    def read(self, line: bytes) -> Heard | None:
        """The frame in `line`, which has no line end; None where the line begins with no time.

        A line whose time is before the last one's was heard when that was, as far as windows and rates go. Raises
        `TimedLineError` where its time is none that there is.
        """
        match = _TIMED_LINE.fullmatch(line)
        if match is None:
            return None
        time_ms = _time_ms(match)
        if self._last_ms is not None:
            step_ms = time_ms - self._last_ms
            self.clock_set_back += step_ms < 0
            self._elapsed_ms += max(step_ms, 0)
        self._last_ms = time_ms
        self._sequence += 1
        receiver = match["receiver"].decode("ascii") if match["receiver"] else UNNAMED_RECEIVER
        return Heard(RUN, self._sequence, Moment(self._elapsed_ms, time_ms), receiver, 0, _frame(match["line"]))


def _time_ms(match: re.Match[bytes]) -> int:
    if match["seconds"] is not None:
        return int(match["seconds"]) * 1000 + int((match["fraction"] or b"0").ljust(3, b"0")[:3])
    try:
        time_ms = from_rfc3339(match["date"].decode("ascii").upper())
    except ValueError:
        raise TimedLineError("its time is on no calendar or clock") from None
    if time_ms < 0:
        raise TimedLineError("its time is before 1970")
    return time_ms


def _frame(line: bytes) -> Frame | Damaged:
    """As the receivers of such lines read them: what is no frame is heard, as damaged."""
    if len(line) > tnc2.MAXIMUM_LINE_OCTETS:
        return damaged(f"no line end within {tnc2.MAXIMUM_LINE_OCTETS} octets", line)
    return tnc2.read(line)
