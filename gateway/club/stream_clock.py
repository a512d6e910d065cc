"""What the engine's clock says, told from this computer's monotonic clock, and how surely. No I/O, no clock.

The engine stamps every message that it stores. A member publishes a small beat each second: it was stamped at some
time between its sending and its answer, both read from the member's own monotonic clock, so stream time less monotonic
time lies between two bounds, as far apart as the round trip took. Nothing is assumed about any computer's time of day.

Whoever says when something was heard takes the earliest that it can have been; whoever asks how late it is now takes
the latest that now can be. So whatever the clocks do, a frame is never younger than it seems.

Only the newest beat counts: when another server of the engine becomes the one that stamps, its clock may be another.
Until the next beat tells, a stamp from later than now can be says that the bounds no longer hold.
"""

from dataclasses import dataclass

DRIFT = 1 / 2000
"""By how much the two clocks may run apart: 500 parts in a million, the most that a clock is steered by (ntp_adjtime,
from memory)."""

GOOD_FOR_MS = 10_000
"""After so long without a beat nothing is known any more."""


@dataclass(frozen=True, slots=True)
class _Bounds:
    """Of stream time less monotonic time, in milliseconds, when it was measured."""

    least: float
    most: float
    measured_ms: float


class StreamClock:
    """Stream time in milliseconds since 1970, as bounds. Monotonic times are in milliseconds, too."""

    def __init__(self) -> None:
        self.jumps = 0
        """How often what was known turned out to hold no longer: another server stamps, or its clock was set."""

        self._bounds: _Bounds | None = None

    def measured(self, sent_ms: float, stamp_ms: float, answered_ms: float) -> None:
        """A beat was sent, stamped in stream time, and answered."""
        bounds = _Bounds(stamp_ms - answered_ms, stamp_ms - sent_ms, answered_ms)
        offset = self._known(answered_ms)
        if offset is not None and (bounds.least > offset[1] or bounds.most < offset[0]):
            self.jumps += 1
        self._bounds = bounds

    def saw(self, stamp_ms: float, now_ms: float) -> None:
        """A message with this stamp is here now: it is that late in stream time, at least."""
        offset = self._known(now_ms)
        if offset is not None and stamp_ms - now_ms > offset[1]:
            self.jumps += 1
            self._bounds = None

    def forget(self) -> None:
        """The connection to the engine is lost: who stamps after it comes back is not known."""
        self._bounds = None

    def earliest(self, at_ms: float, now_ms: float) -> int | None:
        """The earliest that a monotonic time can have been in stream time; None where that is not known now."""
        offset = self._known(now_ms)
        return None if offset is None else int(at_ms + offset[0])

    def latest(self, now_ms: float) -> int | None:
        """The latest that it can be now in stream time; None where that is not known."""
        offset = self._known(now_ms)
        return None if offset is None else int(now_ms + offset[1]) + 1

    def uncertainty_ms(self, now_ms: float) -> float | None:
        """How far apart the bounds are now; None where there are none."""
        offset = self._known(now_ms)
        return None if offset is None else offset[1] - offset[0]

    def _known(self, now_ms: float) -> tuple[float, float] | None:
        """The bounds, wider by what the clocks may have run apart since."""
        bounds = self._bounds
        if bounds is None or now_ms - bounds.measured_ms > GOOD_FOR_MS:
            return None
        apart = max(0.0, now_ms - bounds.measured_ms) * DRIFT
        return bounds.least - apart, bounds.most + apart
