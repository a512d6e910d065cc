"""Whether the gateway turns, and when what it reads after a standstill was heard. No I/O, no clock.

A process that is stopped, starved or asleep reads afterwards what came meanwhile, and would take it for new. So a pulse
is beaten several times a second. Where it paused, what is first read after the pause counts as heard when the pause
began: nobody knows when it really was, and a line must never go up late.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.frames.moment import Moment
from gateway.groundwork.part import Figure, Part, PartKind, State, counter

BEAT_SECONDS = 0.25

STANDSTILL_MS = 1_000
"""A longer pause between two beats is a standstill. What waited for less is taken for new: it is no older than this."""

CATCH_UP_MS = 500
CATCH_UP_BEATS = 2
"""For so long after a standstill, and for so many beats, the first thing read from a source is what waited there. On a
computer that is still overloaded the time alone would be over before a source was read at all: the beats are late, too.
"""

SHOWN_MS = 30 * 60_000
"""How long a standstill is shown."""


@dataclass(frozen=True, slots=True)
class Standstill:
    """A time in which nothing turned."""

    began: Moment
    ended: Moment

    @property
    def seconds(self) -> float:
        """How long it was."""
        return (self.ended.elapsed_ms - self.began.elapsed_ms) / 1000


@dataclass(slots=True)
class FrameSource:
    """What one source of frames is known to have had waiting."""

    has_more: bool = False
    """Whether the last read left something over that had waited in a standstill."""

    emptied_ms: int = -1
    """When it was last read to its end."""


class Pulse:
    """Beaten with the moment, several times a second. It answers for itself: see `part.Answers`."""

    def __init__(self, started_ms: int) -> None:
        """`started_ms`: Unix milliseconds. What is read before the first beat counts as heard when it is read."""
        self.count = 0
        """How often it stood still."""

        self._started_ms = started_ms
        self._seconds = 0.0
        self._last: Moment | None = None
        self._standstill: Standstill | None = None
        self._beats = 0
        """Since the standstill ended."""

    def beat(self, moment: Moment) -> Standstill | None:
        """Everything turns; gives back the standstill that ends with this beat, if one does."""
        last, self._last = self._last, moment
        self._beats += 1
        if last is None or moment.elapsed_ms - last.elapsed_ms <= STANDSTILL_MS:
            return None
        self._standstill = Standstill(last, moment)
        self._beats = 0
        self.count += 1
        self._seconds += self._standstill.seconds
        return self._standstill

    def heard(self, moment: Moment, source: FrameSource, *, emptied: bool) -> Moment:
        """When what is read from `source` at `moment` counts as heard; `emptied`: nothing more waits there now."""
        began = self._waited_since(moment, source)
        source.has_more = began is not None and not emptied
        if emptied:
            source.emptied_ms = moment.elapsed_ms
        return moment if began is None else began

    def _waited_since(self, moment: Moment, source: FrameSource) -> Moment | None:
        if self._last is not None and moment.elapsed_ms - self._last.elapsed_ms > STANDSTILL_MS:
            return self._last  # it has just ended, and no beat has told of it yet
        standstill = self._standstill
        if standstill is None or source.emptied_ms >= standstill.ended.elapsed_ms:
            return None
        since_ms = moment.elapsed_ms - standstill.ended.elapsed_ms
        catching_up = since_ms <= CATCH_UP_MS or self._beats < CATCH_UP_BEATS
        return standstill.began if catching_up or source.has_more else None

    def part(self) -> Part:
        """Whether it stood still lately."""
        standstill, last = self._standstill, self._last
        if last is None:
            return Part(PartKind.PULSE, PartKind.PULSE, State.WAITING, self._started_ms)
        if standstill is None or last.elapsed_ms - standstill.ended.elapsed_ms >= SHOWN_MS:
            return Part(PartKind.PULSE, PartKind.PULSE, State.OK, self._started_ms)
        often = "" if self.count == 1 else f", {self.count} times since the start"
        why = f"the gateway stood still for {standstill.seconds:.0f} s{often}: what waited counts as heard before"
        remedy = "is the computer overloaded, does it sleep, or does its disk hang?"
        return Part(PartKind.PULSE, PartKind.PULSE, State.DEGRADED, standstill.ended.time_ms, why, remedy)

    def figures(self) -> Sequence[Figure]:
        """How often it stood still, and for how long in all."""
        return [
            counter("standstills", self.count, "How often the gateway stood still for more than a second."),
            counter("standstill_seconds", self._seconds, "For how long it stood still in all."),
        ]
