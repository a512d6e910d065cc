"""The times that reports carry. Few say their month and hardly any the year: nothing is guessed."""

import re
from calendar import monthrange
from dataclasses import dataclass

_SIX_DIGITS_AND_ZONE = re.compile(rb"([0-9]{2})([0-9]{2})([0-9]{2})([zh/])")
_EIGHT_DIGITS = re.compile(rb"([0-9]{2})([0-9]{2})([0-9]{2})([0-9]{2})")

_A_LEAP_YEAR, _A_LONG_MONTH = 2000, 1


@dataclass(frozen=True, slots=True)
class ReportMoment:
    """As much of a date and time as was sent; `utc` is False where it is the sender's local time."""

    hour: int
    minute: int
    second: int | None = None
    day: int | None = None
    month: int | None = None
    year: int | None = None
    utc: bool = True

    def __str__(self) -> str:
        """ISO 8601, with the truncated date of its 2000 edition: `---09T23:45Z`, `--10-09T23:45Z`, `T23:45:17Z`."""
        time = f"T{self.hour:02}:{self.minute:02}"
        if self.second is not None:
            time += f":{self.second:02}"
        return f"{self._date()}{time}{'Z' if self.utc else ''}"

    def _date(self) -> str:
        if self.day is None:
            return ""
        if self.month is None:
            return f"---{self.day:02}"
        year = "-" if self.year is None else f"{self.year:04}"
        return f"{year}-{self.month:02}-{self.day:02}"

    @property
    def is_possible(self) -> bool:
        """Whether a clock can show it, and a calendar hold it in some month and year where it does not say which."""
        return (
            0 <= self.hour <= 23  # noqa: PLR2004 - a clock's own numbers
            and 0 <= self.minute <= 59  # noqa: PLR2004
            and 0 <= (self.second or 0) <= 60  # noqa: PLR2004 - a leap second
            and 1 <= (1 if self.month is None else self.month) <= 12  # noqa: PLR2004
            and 1 <= (1 if self.day is None else self.day) <= self._days_in_month
        )

    @property
    def _days_in_month(self) -> int:
        """The most that it can have: February 29 where the year is not known."""
        return monthrange(_A_LEAP_YEAR if self.year is None else self.year, self.month or _A_LONG_MONTH)[1]


TIME_OCTETS = 7
"""The length of every time that stands before a position (APRS101 chapter 6)."""


def is_time(data: bytes, at: int) -> bool:
    """Whether the seven octets at `at` have the form of a time (APRS101 chapter 6), possible or not."""
    return _SIX_DIGITS_AND_ZONE.match(data, at) is not None


def read_time(data: bytes, at: int) -> ReportMoment | None:
    """The day, hour, minute (`092345z`, local: `092345/`) or hour, minute, second (`234517h`) at `at`.

    APRS101 chapter 6. None where there is none or no clock could show it: trackers without a clock send nines.
    """
    match = _SIX_DIGITS_AND_ZONE.match(data, at)
    if match is None:
        return None
    first, second, third = int(match[1]), int(match[2]), int(match[3])
    if match[4] == b"h":
        moment = ReportMoment(first, second, third)
    else:
        moment = ReportMoment(second, third, day=first, utc=match[4] == b"z")
    return moment if moment.is_possible else None


def read_month_time(data: bytes, at: int) -> ReportMoment | None:
    """The month, day, hour and minute (`10092345`, UTC) of a weather report without position. APRS101 chapter 6."""
    match = _EIGHT_DIGITS.match(data, at)
    if match is None:
        return None
    month, day, hour, minute = (int(group) for group in match.groups())
    moment = ReportMoment(hour, minute, day=day, month=month)
    return moment if moment.is_possible else None
