"""How busy the post is: what was heard in the last minute, from how many in the last hour, and when last. No clock."""

from collections import deque
from dataclasses import dataclass

from gateway.feed.stations import Stations
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject, rfc3339
from gateway.groundwork.duration import HOUR_MS, MINUTE_MS


@dataclass(frozen=True, slots=True)
class Activity:
    """How busy the post is at one moment."""

    frames_per_minute: int
    """Heard in the last 60 seconds, copies and damaged ones too."""

    stations_last_hour: int
    """How many were heard in the last 60 minutes, as far as they are remembered."""

    last_heard_ms: int | None
    """Unix milliseconds; None: nothing was heard in this run."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        plain: PlainObject = {
            "frames_per_minute": self.frames_per_minute,
            "stations_last_hour": self.stations_last_hour,
        }
        if self.last_heard_ms is not None:
            plain["last_heard"] = rfc3339(self.last_heard_ms)
        return plain


class ActivityWatch:
    """Counts by the second; its memory is one number for each second of the last minute."""

    def __init__(self) -> None:
        self._seconds: deque[tuple[int, int]] = deque()
        self._last_heard_ms: int | None = None

    def heard(self, moment: Moment, count: int = 1) -> None:
        """So many frames were heard, the last one at `moment`. Moments do not go back."""
        self._last_heard_ms = moment.time_ms
        second = moment.elapsed_ms // 1000
        before = self._seconds.pop()[1] if self._seconds and self._seconds[-1][0] == second else 0
        self._seconds.append((second, before + count))
        oldest = second - MINUTE_MS // 1000
        while self._seconds[0][0] <= oldest:
            self._seconds.popleft()

    def now(self, moment: Moment, stations: Stations) -> Activity:
        """How busy it is, now being `moment`."""
        oldest = (moment.elapsed_ms - MINUTE_MS) // 1000
        frames = sum(count for second, count in self._seconds if second > oldest)
        return Activity(frames, stations.heard_since(moment.elapsed_ms - HOUR_MS), self._last_heard_ms)
