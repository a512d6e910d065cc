"""The policy file as models: what an operator may write, checked, in the forms that the judge asks about.

`policies/README.md` is its reference. Nothing here decides anything; `compiled` does, from these models.
"""

import re
from collections.abc import Iterator
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import (
    AfterValidator,
    BeforeValidator,
    Field,
    StringConstraints,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from gateway.documents import Place
from gateway.documents.values import NAME, Duration, Kilometres, Name, OneOrMore, Section, between, fits
from gateway.frames.frame import NO_LAYER_3, UI
from gateway.frames.plain import from_rfc3339
from gateway.groundwork.duration import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from gateway.judge.verdict import Decision, Reason
from gateway.reports import Kind

PERIODS_MS = {"second": SECOND_MS, "minute": MINUTE_MS, "hour": HOUR_MS, "day": DAY_MS}
OCTETS = {"kB": 1000, "MB": 1_000_000}

MOST_RULES = 20_000
MOST_RATES = 1000
"""Each is asked about every header that is new."""

MOST_EXAMPLES = 10_000
"""Each is judged whenever the policy is read."""

_RECEIVER = rf"{NAME}(?:/{NAME})?"
_PATTERN = rf"@{NAME}|[A-Za-z0-9*?\[\]!-]{{1,32}}"
_SYMBOL = r"[!-~]{2}"

ReceiverName = Annotated[
    str,
    AfterValidator(fits(_RECEIVER, "is no name of a receiver: write it as vhf, or in a club as headland/vhf")),
    WithJsonSchema({"type": "string", "pattern": f"^{_RECEIVER}$"}),
]
"""A receiver of this station, or of a post of its club."""

Pattern = Annotated[
    str,
    AfterValidator(fits(_PATTERN, 'is no pattern for callsigns: write it as QA1BCD-9, "QA1*" or "@group"')),
    WithJsonSchema({"type": "string", "pattern": f"^({_PATTERN})$"}),
]
"""A shell-style pattern for a callsign, or `@` and the name of a group."""

Symbol = Annotated[
    str,
    AfterValidator(fits(_SYMBOL, 'is no symbol: write its table and its code, two characters, as "/_"')),
    WithJsonSchema({"type": "string", "pattern": f"^{_SYMBOL}$"}),
]


class Hops(Section):
    """How many repeaters the frame came through, on its last way through the air."""

    at_least: Annotated[int, Field(strict=True, ge=0, le=8)] | None = None
    at_most: Annotated[int, Field(strict=True, ge=0, le=8)] | None = None

    @model_validator(mode="after")
    def _asks(self) -> "Hops":
        if self.at_least is None and self.at_most is None:
            raise ValueError("give at_least, at_most or both")
        if self.at_least is not None and self.at_most is not None and self.at_least > self.at_most:
            raise ValueError("at_least is greater than at_most: this can never hold")
        return self


class Distance(Section):
    """How far the reported position is from the station."""

    within: Kilometres | None = None
    beyond: Kilometres | None = None

    @model_validator(mode="after")
    def _asks(self) -> "Distance":
        if self.within is None and self.beyond is None:
            raise ValueError("give within, beyond or both")
        if self.within is not None and self.beyond is not None and self.within <= self.beyond:
            raise ValueError("within is not greater than beyond: this can never hold")
        return self


class Hours(Section):
    """A span of the day in UTC, minutes from midnight; `end` is not in it; past midnight where `end` is smaller."""

    start: int
    end: int

    def holds(self, minute: int) -> bool:
        """Whether the minute of the day (0-1439) is in the span."""
        if self.start < self.end:
            return self.start <= minute < self.end
        return minute >= self.start or minute < self.end


def _hours(text: object) -> object:
    if isinstance(text, Hours):
        return text
    match = re.fullmatch(r"(\d\d):(\d\d)\s*-\s*(\d\d):(\d\d)", text) if isinstance(text, str) else None
    if match is not None:
        start_hour, start_minute, end_hour, end_minute = map(int, match.groups())
        start, end = start_hour * 60 + start_minute, end_hour * 60 + end_minute
        if max(start_minute, end_minute) < 60 and start < 24 * 60 and end <= 24 * 60 and start != end:  # noqa: PLR2004
            return Hours(start=start, end=end)
    raise ValueError(f'{text!r} is no span of hours; write it in UTC as "22:00-06:00", in quotation marks')


HoursText = Annotated[
    Hours, BeforeValidator(_hours), WithJsonSchema({"type": "string", "pattern": r"^\d\d:\d\d\s*-\s*\d\d:\d\d$"})
]


class Day(StrEnum):
    """A day of the week, in UTC."""

    MONDAY = "mon"
    TUESDAY = "tue"
    WEDNESDAY = "wed"
    THURSDAY = "thu"
    FRIDAY = "fri"
    SATURDAY = "sat"
    SUNDAY = "sun"


class Conditions(Section):
    """What a frame must be for a rule or rate to be about it; all that are given must hold."""

    source: OneOrMore[Pattern] | None = None
    destination: OneOrMore[Pattern] | None = None
    receiver: OneOrMore[ReceiverName] | None = None
    via: OneOrMore[Pattern] | None = None
    hops: Hops | None = None
    report: OneOrMore[Kind] | None = None
    distance: Distance | None = None
    symbol: OneOrMore[Symbol] | None = None
    contains: OneOrMore[Annotated[str, StringConstraints(min_length=1, max_length=256)]] | None = None
    addressee: OneOrMore[Pattern] | None = None
    hours: OneOrMore[HoursText] | None = None
    days: OneOrMore[Day] | None = None
    not_: Annotated["Conditions | None", Field(alias="not")] = None

    @model_validator(mode="after")
    def _asks(self) -> "Conditions":
        if not self.model_fields_set:
            raise ValueError("give at least one condition; leave `when` out where every frame is meant")
        return self


def asks_distance(when: Conditions | None) -> bool:
    """Whether the conditions ask how far away a station is: then its own position must be known."""
    return when is not None and (when.distance is not None or asks_distance(when.not_))


def receivers_in(when: Conditions | None, place: Place) -> Iterator[tuple[Place, str]]:
    """Every receiver that the conditions at `place` name, and where they do."""
    if when is not None:
        for name in when.receiver or ():
            yield (*place, "receiver"), name
        yield from receivers_in(when.not_, (*place, "not"))


class Rule(Section):
    """The first rule that matches decides."""

    name: Name
    when: Conditions | None = None
    then: Decision


class Per(StrEnum):
    """What each bucket of a rate stands for."""

    SOURCE = "source"
    RECEIVER = "receiver"
    REPORT = "report"
    EVERYTHING = "everything"


class Allowance(Section):
    """So many frames in a period, or so many octets of network lines in a day or month."""

    amount: Annotated[int, Field(ge=1)]
    period: Literal["second", "minute", "hour", "day", "month"]
    octets: bool = False

    @property
    def period_ms(self) -> int:
        """Length of the period; not for months, which differ."""
        return PERIODS_MS[self.period]


def _allowance(text: object) -> object:
    if isinstance(text, Allowance):
        return text
    if isinstance(text, str):
        if match := re.fullmatch(r"([1-9]\d{0,8})\s+per\s+(second|minute|hour|day)", text.strip()):
            return Allowance(amount=int(match[1]), period=match[2])
        if match := re.fullmatch(r"([1-9]\d{0,8})\s*(kB|MB)\s+per\s+(day|month)", text.strip()):
            return Allowance(amount=int(match[1]) * OCTETS[match[2]], period=match[3], octets=True)
    raise ValueError(f"{text!r} is no allowance; write it as `6 per minute`, `2 MB per day` or `50 MB per month`")


AllowanceText = Annotated[
    Allowance,
    BeforeValidator(_allowance),
    WithJsonSchema(
        {
            "type": "string",
            "pattern": r"^[1-9]\d{0,8}(\s+per\s+(second|minute|hour|day)|\s*(kB|MB)\s+per\s+(day|month))$",
        }
    ),
]


def _share(text: object) -> float:
    match = re.fullmatch(r"(\d{1,2})\s*%", text) if isinstance(text, str) else None
    if match is None or not int(match[1]):
        raise ValueError(f"{text!r} is no share; write it as a percentage from 1% to 99%")
    return int(match[1]) / 100


class Reserve(Section):
    """A share of the room that only some kinds of report may use."""

    kinds: OneOrMore[Kind] = Field(alias="for")
    share: Annotated[float, BeforeValidator(_share), WithJsonSchema({"type": "string", "pattern": r"^[1-9]\d?\s*%$"})]


class Rate(Section):
    """How much of what it is about may go up; a token is taken from every rate that matches, or from none."""

    name: Name
    when: Conditions | None = None
    per: Per = Per.SOURCE
    allow: AllowanceText
    burst: Annotated[int, Field(strict=True, ge=1, le=1_000_000)] | None = None
    reserve: Reserve | None = None

    @model_validator(mode="after")
    def _fits(self) -> "Rate":
        if self.allow.octets and self.burst is not None:
            raise ValueError("a budget in kB or MB has no burst: all of it may be used at any time of its period")
        burst = self.burst or self.allow.amount
        if self.reserve is not None and burst * (1 - self.reserve.share) < 1:
            raise ValueError(
                "the reserve leaves no whole frame to other reports: none would ever pass; raise the burst"
            )
        return self


class Duplicates(Section):
    """How long a copy of a frame is known as one."""

    window: Annotated[Duration, between("1s", "1h")] = 30_000


class Before(Section):
    """A frame heard before the one that an example is about."""

    frame: str
    receiver: ReceiverName | None = None
    before: Annotated[Duration, between("0s", "366d")] = 0
    """How long before, in milliseconds."""


def _before(value: object) -> object:
    return {"frame": value} if isinstance(value, str) else value


def _moment(value: object) -> int:
    """Unix milliseconds from an RFC 3339 time."""
    if isinstance(value, str):
        try:
            return from_rfc3339(value)
        except ValueError:
            pass
    raise ValueError(f"{value!r} is no time; write it as 2026-06-06T12:00:00Z")


class Example(Section):
    """A frame and what is expected of the policy for it; checked whenever the policy is loaded."""

    frame: str
    after: list[Annotated[Before, BeforeValidator(_before, json_schema_input_type=str | Before)]] = []
    receiver: ReceiverName = "example"
    control: Annotated[int, Field(strict=True, ge=0, le=255)] = UI
    pid: Annotated[int, Field(strict=True, ge=0, le=255)] = NO_LAYER_3
    at: Annotated[int, BeforeValidator(_moment), WithJsonSchema({"type": "string", "format": "date-time"})] = (
        1_780_747_200_000  # 2026-06-06T12:00:00Z
    )
    expect: Decision
    reason: Reason | None = None
    rule: Name | None = None

    @model_validator(mode="after")
    def _fits(self) -> "Example":
        if self.reason is not None and self.expect is Decision.FORWARD:
            raise ValueError("a frame that is expected to be forwarded has no reason for keeping it")
        return self


class Policy(Section):
    """A whole policy file."""

    version: Literal[1]
    name: Name
    duplicates: Duplicates = Duplicates()
    groups: dict[Name, Annotated[list[Pattern], Field(fail_fast=True)]] = {}
    rules: Annotated[list[Rule], Field(max_length=MOST_RULES)] = []
    rates: Annotated[list[Rate], Field(max_length=MOST_RATES)] = []
    include: list[Annotated[str, StringConstraints(min_length=1, max_length=1024)]] = []
    examples: Annotated[list[Example], Field(max_length=MOST_EXAMPLES)] = []

    @field_validator("groups")
    @classmethod
    def _plain_groups(cls, groups: dict[str, list[str]]) -> dict[str, list[str]]:
        for name, patterns in groups.items():
            nested = next((pattern for pattern in patterns if pattern.startswith("@")), None)
            if nested is not None:
                raise ValueError(f"group {name} names another group, {nested}: list its patterns instead")
        return groups
