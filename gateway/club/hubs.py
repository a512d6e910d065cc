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
        self._first_ms: int | None = None

    def spoke(self, hub: str, octets: bytes, stamp_ms: int) -> None:
        """A hub's beat came, and says this."""
        slices = read_slices(octets)
        if slices is not None:
            self._hubs[hub] = stamp_ms, slices
        if self._first_ms is None:
            self._first_ms = stamp_ms

    def untaken(self, now_ms: int) -> Slices | None:
        """The slices that no hub takes; None: none, or it is not known yet. `now_ms` is stream time."""
        if self._first_ms is None or now_ms - self._first_ms < SILENT_MS:
            return None
        taken = {number for spoke_ms, slices in self._hubs.values() if now_ms - spoke_ms < SILENT_MS
                 for number in slices.numbers}  # fmt: skip
        left = set(ALL.numbers) - taken
        return Slices.of(left) if left else None
