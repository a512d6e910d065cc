"""The computer's clock as a part of the post: whether the time it shows can be right, and whether it was set.

Frames are stamped with it, hours, days and budgets go by it, and what is usual at an hour is learnt by it. A small
computer without a battery for its clock starts in the past, until the network tells it the time. No I/O.
"""

from collections.abc import Sequence

from gateway.frames.heard import Moment
from gateway.frames.plain import rfc3339
from gateway.groundwork.clocks import JUMP_MS, is_plausible
from gateway.groundwork.duration import MINUTE_MS, in_words
from gateway.groundwork.part import Figure, Part, PartKind, State, counter

SHOWN_MS = 30 * MINUTE_MS
"""How long a jump is shown."""

_REMEDY = "let the computer take its time from the network (NTP), or give its clock a battery"


class ClockWatch:
    """Compares the wall clock with one that is never set, whenever it is told to `look`. It answers for the clock."""

    def __init__(self, started: Moment) -> None:
        self._jumps = 0
        self._last = started
        self._jumped: tuple[Moment, int] | None = None
        """When it was last set, and by how much."""

        self._since_ms = started.time_ms
        self._state, self._why = self._judge(started)

    def part(self) -> Part:
        """How the clock was at the last look."""
        remedy = "" if self._state is State.OK else _REMEDY
        return Part(PartKind.CLOCK, PartKind.CLOCK, self._state, self._since_ms, self._why, remedy)

    def figures(self) -> Sequence[Figure]:
        """How often the clock was set in this run."""
        return [counter("clock_set", self._jumps, "How often the clock was set by more than two seconds.")]

    def look(self, moment: Moment) -> None:
        """Look at both clocks, now being `moment`. To be done every few seconds."""
        last, self._last = self._last, moment
        jump = (moment.time_ms - last.time_ms) - (moment.elapsed_ms - last.elapsed_ms)
        jumped = abs(jump) > JUMP_MS
        if jumped:
            self._jumps += 1
            self._jumped = moment, jump
        state, self._why = self._judge(moment)
        if jumped or state is not self._state:
            self._state, self._since_ms = state, moment.time_ms

    def _judge(self, moment: Moment) -> tuple[State, str]:
        if not is_plausible(moment.time_ms):
            date = rfc3339(moment.time_ms)[:10]
            return State.DEGRADED, f"the clock shows {date}, which is before this program was written"
        if self._jumped is None or moment.elapsed_ms - self._jumped[0].elapsed_ms >= SHOWN_MS:
            return State.OK, ""
        jump = self._jumped[1]
        slept = ", or the computer slept" if jump > 0 else ""
        often = "" if self._jumps == 1 else f", {self._jumps} times since the start"
        return State.DEGRADED, f"the clock was set {'ahead' if jump > 0 else 'back'} by {in_words(jump)}{slept}{often}"
