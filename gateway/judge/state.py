"""All that a judge knows, as values: two judges in the same state give the same verdicts from then on.

A hub of a club that starts takes it from a snapshot that another hub wrote, so it is checked as any stranger's data.
Whole numbers and the floating-point numbers of fair shares come back bit for bit (JSON by Python and pydantic writes
the shortest text that reads back as the same number).
"""

from typing import Annotated

from pydantic import ConfigDict, Field

from gateway.documents.values import Section

JUDGE = 1
"""Which judge this is: raise it with every change after which a frame may be judged otherwise than before. Hubs of one
club that judge otherwise would not send as one."""

MOST_KEYS = 100_000
MOST_SOURCES = 20_000

Key = Annotated[bytes, Field(max_length=4096)]
Name = Annotated[str, Field(max_length=256)]
Counted = Annotated[int, Field(ge=0)]


class _JudgeValue(Section):
    model_config = ConfigDict(ser_json_bytes="base64", val_json_bytes="base64")


class DuplicatesState(_JudgeValue):
    """Which frames went up lately, each with its elapsed time in milliseconds, in the order in which they did."""

    recent: Annotated[list[tuple[Key, int]], Field(max_length=MOST_KEYS)]
    older: Annotated[list[tuple[Key, int]], Field(max_length=MOST_KEYS)]
    recent_began: int
    recent_octets: Counted


class BucketsState(_JudgeValue):
    """The buckets of one rate, in its own units of time."""

    full_at: Annotated[dict[Name, int], Field(max_length=MOST_SOURCES)]
    swept_at: int


class BudgetState(_JudgeValue):
    """What was used of a budget in its period, in octets."""

    period: Name
    used: Annotated[dict[Name, Counted], Field(max_length=MOST_SOURCES)]


class SharesState(_JudgeValue):
    """The fair shares of one bucket; times in elapsed milliseconds."""

    since_ms: int | None
    began_ms: int
    looked_ms: int
    recent: Annotated[dict[Name, Counted], Field(max_length=MOST_SOURCES)]
    earlier: Annotated[dict[Name, Counted], Field(max_length=MOST_SOURCES)]
    level: float | None
    uses: Annotated[dict[Name, tuple[float, int]], Field(max_length=MOST_SOURCES)]


class LimitState(_JudgeValue):
    """One entry of `rates:`."""

    name: Name
    per: Name
    buckets: BucketsState | None
    budget: BudgetState | None
    shares: Annotated[dict[Name, SharesState], Field(max_length=MOST_SOURCES)]


class JudgeState(_JudgeValue):
    """All that a judge knows, but for its policy."""

    duplicates: DuplicatesState
    limits: Annotated[list[LimitState], Field(max_length=1000)]
