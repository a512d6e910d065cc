"""What is old enough to be deleted, by a clock that may be wrong. No I/O: moments are passed in.

A clock that is set ahead makes everything old. So nothing is deleted for its age before the clock has gone evenly for
an hour, and then no more than a day's rows in each hour: whoever sees that the clock is wrong has time to set it right.
A clock that cannot be right deletes nothing at all.

An hour's rows go together: a memory card wears out by the number of writes.
"""

from gateway.frames.heard import Moment
from gateway.groundwork.clocks import JUMP_MS, is_plausible
from gateway.groundwork.duration import DAY_MS, HOUR_MS


class Ageing:
    """Says up to which time rows may be deleted. To be asked every minute or so."""

    def __init__(self, keep_ms: int) -> None:
        self._keep_ms = keep_ms
        self._last: Moment | None = None
        self._steady_since_ms = 0
        self._hour_since_ms: int | None = None
        self._before_ms = 0

    def jump_ms(self, moment: Moment) -> int:
        """How far the clock was set since the last time; 0 where it was not. From now on it must be steady again."""
        last, self._last = self._last, moment
        if last is None:
            self._steady_since_ms = moment.elapsed_ms
            return 0
        jump_ms = (moment.time_ms - last.time_ms) - (moment.elapsed_ms - last.elapsed_ms)
        if abs(jump_ms) <= JUMP_MS:
            return 0
        self._steady_since_ms = moment.elapsed_ms
        self._hour_since_ms = None
        return jump_ms

    def before_ms(self, moment: Moment, oldest_ms: int) -> int | None:
        """What is older than this time, in Unix milliseconds, may go; None: nothing may.

        `oldest_ms` is the time of the oldest row. To be asked after `jump_ms`.
        """
        if not is_plausible(moment.time_ms) or moment.elapsed_ms - self._steady_since_ms < HOUR_MS:
            return None
        if self._hour_since_ms is None or moment.elapsed_ms - self._hour_since_ms >= HOUR_MS:
            self._hour_since_ms = moment.elapsed_ms
            self._before_ms = min(moment.time_ms - self._keep_ms, oldest_ms + DAY_MS)
        return self._before_ms
