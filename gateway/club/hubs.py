"""Which slices of the club's frames its hubs take now, as their beats say. No I/O, no clock: times are the stream's."""

from gateway.club.slices import ALL, Slices, read_slices
from gateway.groundwork.bounded import BoundedMapping

MAXIMUM_HUBS = 64
SILENT_MS = 10_000
"""A hub beats each second: one that is silent for so long takes nothing any more."""


class Hubs:
    """The hubs of a club."""

    def __init__(self) -> None:
        self._hubs: BoundedMapping[str, tuple[int, Slices]] = BoundedMapping(MAXIMUM_HUBS)
        self._known_since_ms = 0
        """Since then beats have come without a long silence of all hubs."""

        self._last_ms: int | None = None

    def spoke(self, hub: str, octets: bytes, stamp_ms: int) -> None:
        """A hub's beat came, and says this."""
        if self._are_all_silent(stamp_ms):  # the engine was away, or it was not read: each has its time to speak anew
            self._known_since_ms = stamp_ms
        self._last_ms = stamp_ms
        slices = read_slices(octets)
        if slices is not None:
            self._hubs[hub] = stamp_ms, slices
            self._hubs.renew(hub)

    def are_known(self, now_ms: int) -> bool:
        """Whether every hub that there is has had the time to speak. `now_ms` is stream time."""
        return not self._are_all_silent(now_ms) and now_ms - self._known_since_ms >= SILENT_MS

    def untaken(self, now_ms: int) -> Slices | None:
        """The slices that no hub takes; None: none, or it is not known. `now_ms` is stream time."""
        if not self.are_known(now_ms):
            return None
        taken = {number for spoke_ms, slices in self._hubs.values() if abs(now_ms - spoke_ms) < SILENT_MS
                 for number in slices.numbers}  # fmt: skip
        untaken = set(ALL.numbers) - taken
        return Slices.of(untaken) if untaken else None

    def _are_all_silent(self, now_ms: int) -> bool:
        return self._last_ms is None or abs(now_ms - self._last_ms) >= SILENT_MS
