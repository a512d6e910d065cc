"""How many frames came in each hour of a day, up to the last one that came. No I/O, no clock."""

from itertools import dropwhile

from gateway.frames.plain import HIGHEST_NUMBER, PlainObject, rfc3339
from gateway.groundwork.duration import HOUR_MS

HOURS = 24
HIGHEST_TIME_MS = 253_402_300_799_999
"""The end of the year 9999, the last that RFC 3339 can write."""


class LastDay:
    """Hours are counted since 1970, in UTC."""

    __slots__ = ("_frames", "_hour")

    def __init__(self, hour: int = 0, frames: list[int] | None = None) -> None:
        """`hour` is that of the last of the `frames`. Hours before the first of them had none: they take no room."""
        self._hour = hour
        self._frames = frames or []

    def count(self, time_ms: int) -> None:
        """A frame came at this time, in Unix milliseconds. One of before the last day is left out."""
        hour = time_ms // HOUR_MS
        passed = hour - self._hour
        if passed > 0:
            self._hour = hour
            self._frames = [*self._frames, *[0] * passed][-HOURS:] if self._frames and passed < HOURS else []
        before = self._hour - hour
        if before < HOURS:
            if before >= len(self._frames):
                self._frames = [0] * (before + 1 - len(self._frames)) + self._frames
            self._frames[-1 - before] += 1

    def to_object(self) -> PlainObject:
        """The plain form: when the last hour began, and the frames of each, the newest last."""
        return {"hour": rfc3339(self._hour * HOUR_MS), "frames": self._of_all_hours()}

    def dumped(self) -> list[object]:
        """What `last_day_from` takes."""
        return [self._hour, self._of_all_hours()]

    def _of_all_hours(self) -> list[int]:
        return [0] * (HOURS - len(self._frames)) + self._frames


def last_day_from(dumped: object) -> LastDay:
    """What was dumped before; a new one where that is no such thing."""
    match dumped:
        case [int(hour), [*frames]] if 0 <= hour <= HIGHEST_TIME_MS // HOUR_MS:
            counts = [count for count in frames if isinstance(count, int) and 0 <= count <= HIGHEST_NUMBER]
            if len(counts) == len(frames) == HOURS:
                return LastDay(hour, list(dropwhile(lambda count: not count, counts)))
    return LastDay()
