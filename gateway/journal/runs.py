"""Starts of the gateway, and how long ago the time of each was. Pure: what the clocks show is passed in.

Elapsed times are told from the start of a run. Within one start of the computer its own clock says how long ago that
was. Over a restart of the computer only the wall clock can, where it may be trusted; else the time away is not known,
and is not counted at all: what was heard then counts as heard right before the end of its run.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from gateway.frames.heard import Moment
from gateway.groundwork.clocks import is_plausible


@dataclass(frozen=True, slots=True)
class RunRecord:
    """One start of the gateway."""

    identity: str
    started_ms: int
    callsign: str
    policy: str
    """The label of the policy that it started with."""

    boot: str | None = None
    """Which start of the computer it belongs to; None where that is not known."""

    boot_ms: int | None = None
    """For how long the computer had been running when the elapsed time of the run began."""


@dataclass(frozen=True, slots=True)
class RunStart:
    """What the clocks show where the elapsed time of this run begins."""

    time_ms: int
    boot: str | None
    boot_ms: int
    synchronised: bool
    """Whether the wall clock may be trusted."""


@dataclass(frozen=True, slots=True)
class PastRun:
    """A run before this one."""

    number: int
    boot: str | None
    boot_ms: int | None
    last: Moment
    """The latest of it that is known."""


def shifts(runs: Sequence[PastRun], now: RunStart) -> dict[int, int]:
    """By the number of each run, what is to be added to its elapsed times to make them those of this run.

    `runs` stand in their order, the oldest first.
    """
    shift_by_run: dict[int, int] = {}
    after_ms = 0
    for run in reversed(runs):
        # How much of its own time had passed, or would have, at the start of this run: at least what came after it.
        passed_ms = run.last.elapsed_ms + after_ms
        away_ms = now.time_ms - run.last.time_ms
        if run.boot is not None and run.boot == now.boot and run.boot_ms is not None:
            passed_ms = max(passed_ms, now.boot_ms - run.boot_ms)
        elif now.synchronised and is_plausible(run.last.time_ms) and away_ms > 0:
            passed_ms = max(passed_ms, run.last.elapsed_ms + away_ms)
        shift_by_run[run.number] = -passed_ms
        after_ms = passed_ms
    return shift_by_run
