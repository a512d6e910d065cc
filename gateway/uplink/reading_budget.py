"""How much of the processor a server that floods may take: a tenth of a core. No I/O, no clock.

Nobody here asks for what the network sends: it is read lest the socket stall, and mostly thrown away. So reading has a
budget that fills about a tenth as fast as time passes. Where it is used up, reading rests until it has filled again;
the kernel and TCP then hold the server back. One that floods on without a pause is left for the next one.
"""

SHARE = 0.085
"""Of a core; with what cannot be measured here, as going to rest, it is a tenth."""

BURST_SECONDS = 0.05
"""So much may be used at once: some 10,000 lines, as after a login with a wide filter."""

PATIENCE_SECONDS = 30.0
"""A flood of so long without the budget being full once is no burst."""


class ReadingBudget:
    """Told what each read cost; says how long to rest after it."""

    def __init__(self, now: float) -> None:
        """`now` is in seconds, here and below, on a clock that is never set."""
        self._left = BURST_SECONDS
        self._at = now
        self._flooded_since: float | None = None

    def spend(self, seconds: float, now: float) -> float:
        """A read cost so much; gives back for how many seconds to rest, mostly 0."""
        filled = self._left + (now - self._at) * SHARE
        if filled >= BURST_SECONDS:
            self._flooded_since = None
        self._left = min(BURST_SECONDS, filled) - seconds
        self._at = now
        if self._left >= 0:
            return 0.0
        if self._flooded_since is None:
            self._flooded_since = now
        return -self._left / SHARE

    def is_flooded(self, now: float) -> bool:
        """Whether the flood has gone on for too long."""
        return self._flooded_since is not None and now - self._flooded_since > PATIENCE_SECONDS
