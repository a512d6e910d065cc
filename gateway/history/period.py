"""Stretches of time, as people write them: `30d`, `today`, `2026-06-06`, `2026-05-01/2026-06-01`. UTC throughout."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gateway.documents.values import duration_ms
from gateway.frames.plain import PlainObject, from_rfc3339, rfc3339
from gateway.groundwork.duration import DAY_MS

LONGEST_MS = 3660 * DAY_MS
LONGEST_TEXT = 64
HOW_TO_WRITE = "write it as 30d, today, 2026-06-06, a time as 2026-06-06T12:00:00Z, or two of them with / between"


@dataclass(frozen=True, slots=True)
class Period:
    """From a time up to, but not including, another: Unix milliseconds."""

    from_ms: int
    to_ms: int

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {"from": rfc3339(self.from_ms), "to": rfc3339(self.to_ms)}

    def holds(self, heard: Mapping[str, Any]) -> bool:
        """Whether that heard object is of this period; one without a proper time is of none."""
        try:
            return self.from_ms <= from_rfc3339(str(heard.get("time"))) < self.to_ms
        except (ValueError, OverflowError):
            return False

    @property
    def whole_days(self) -> range:
        """The days of UTC that lie in it as a whole, counted since 1970."""
        return range(-(-self.from_ms // DAY_MS), self.to_ms // DAY_MS)

    @property
    def day_by_day(self) -> Iterator["Period"]:
        """Its parts, each within one day of UTC, the earliest first."""
        for day in self.days:
            yield Period(max(self.from_ms, day * DAY_MS), min(self.to_ms, (day + 1) * DAY_MS))

    @property
    def days(self) -> range:
        """The days of UTC of which some part lies in it."""
        return range(self.from_ms // DAY_MS, -(-self.to_ms // DAY_MS))


def read_period(text: str, until_ms: int) -> Period:
    """The period that `text` means, which ends at `until_ms` where it does not say. Raises `ValueError`, in words."""
    if len(text) > LONGEST_TEXT:
        raise ValueError(HOW_TO_WRITE)
    begins, slash, ends = text.partition("/")
    period = Period(_time_ms(begins), _time_ms(ends)) if slash else Period(_start_ms(text, until_ms), until_ms)
    if period.to_ms - period.from_ms > LONGEST_MS:
        raise ValueError(f"no more than {LONGEST_MS // DAY_MS} days are asked for at once")
    if not 0 <= period.from_ms < period.to_ms:
        raise ValueError("it ends before it begins")
    return period


def _start_ms(text: str, until_ms: int) -> int:
    if text == "today":
        return min(until_ms // DAY_MS * DAY_MS, until_ms - 1)
    try:
        return until_ms - duration_ms(text)
    except ValueError:
        return _time_ms(text)


def _time_ms(text: str) -> int:
    try:
        return from_rfc3339(text)
    except (ValueError, OverflowError):
        raise ValueError(HOW_TO_WRITE) from None
