"""How long to stay away from servers that fail us, and which one is next. No I/O, no clock."""

from collections.abc import Callable

MAXIMUM_DOUBLINGS = 16
"""Far above any sensible cap; it keeps the number small however long the network is away."""


class BackOff:
    """Servers in turn, with a pause that doubles each time that all of them have failed.

    Each pause is drawn evenly from nothing up to the ceiling ("full jitter"), so that a thousand gateways that lost
    the same server do not come back to it together.
    """

    def __init__(self, *, servers: int, first_ms: int, cap_ms: int, random: Callable[[], float]) -> None:
        """`random` gives numbers from 0 up to 1."""
        self.server = 0
        """Which server to try next, counted from 0."""

        self._servers = servers
        self._first_ms = first_ms
        self._cap_ms = cap_ms
        self._random = random
        self._failures = 0

    def steady(self) -> None:
        """The connection that now ended had stood well: the next pause is a short one again."""
        self._failures = 0

    def failed(self) -> int:
        """A connection ended, or none came about: go on to the next server, after so many milliseconds."""
        self.server = (self.server + 1) % self._servers
        doublings = min(self._failures // self._servers, MAXIMUM_DOUBLINGS)
        self._failures += 1
        return round(self._random() * min(self._cap_ms, self._first_ms << doublings))
