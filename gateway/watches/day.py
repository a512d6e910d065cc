"""What became of the frames of this day, of UTC: counted on over a restart. No I/O, no clock."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Moment
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject, rfc3339
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.remembered import Past
from gateway.judge.verdict import Reason

_FORWARDED = "forward"


class DayCounts:
    """Counts the verdicts of a day. They outlive a restart, as `remembered.Remembered` has it."""

    name = "day"
    version = 1
    every_ms = 1_800_000

    def __init__(self) -> None:
        self.revision = 0
        self._day = 0
        """Since 1970."""

        self._counts: Counter[Reason | None] = Counter()
        """How many frames were kept for which reason; None: forwarded."""

        self._emergencies = 0

    def hear(self, frames: Sequence[HeardPayload]) -> None:
        """What one read of one receiver brought was judged."""
        self._turn(frames[0].judged.heard.moment.time_ms // DAY_MS)
        self.revision += len(frames)
        self._counts.update([frame.judged.verdict.reason for frame in frames])
        self._emergencies += sum([frame.judged.emergency and frame.judged.counts_as_emergency for frame in frames])

    def today(self, moment: Moment) -> PlainObject:
        """The counts of the day that `moment` lies in, in the plain form."""
        day = moment.time_ms // DAY_MS
        counts, emergencies = (self._counts, self._emergencies) if day == self._day else (Counter[Reason | None](), 0)
        kept_by_reason = {reason.value: counts[reason] for reason in Reason if counts[reason]}
        return {
            "date": rfc3339(day * DAY_MS)[:10],
            "heard": counts.total(),
            "forward": counts[None],
            "keep": sum(kept_by_reason.values()),
            "keep_by_reason": kept_by_reason,
            "emergencies": emergencies,
        }

    def dump(self) -> Iterator[PlainObject]:
        """The day and its counts."""
        counts = {_FORWARDED if reason is None else reason.value: count for reason, count in self._counts.items()}
        yield {"day": self._day, "counts": counts, "emergencies": self._emergencies}

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:  # noqa: ARG002 - a day is the wall clock's
        """Take them in. Of another shape they are left out, whole."""
        match piece:
            case {"day": int(day), "counts": dict(counts), "emergencies": int(emergencies)}:
                reasons = {_FORWARDED: None} | {reason.value: reason for reason in Reason}
                if all(
                    name in reasons and _is_count(count) for name, count in [("forward", emergencies), *counts.items()]
                ):
                    self._day, self._emergencies = day, emergencies
                    self._counts = Counter({reasons[name]: count for name, count in counts.items()})

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart."""
        self.hear([heard])

    def _turn(self, day: int) -> None:
        """Begin another day. A clock that is set back over midnight goes on with the day that had begun."""
        if day > self._day or day < self._day - 1:
            self._day, self._counts, self._emergencies = day, Counter(), 0


def _is_count(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= HIGHEST_NUMBER
