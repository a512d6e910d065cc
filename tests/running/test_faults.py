"""Faults of the gateway's own: contained, counted, said without a word from the air."""

import pytest
import structlog

from gateway.frames.heard import Moment
from gateway.groundwork.part import State
from gateway.running.faults import SHOWN_MS, Doing, Faults

HOSTILE = "forged\nline from the air"


class Clock:
    elapsed_ms = 0

    def __call__(self) -> Moment:
        return Moment(self.elapsed_ms, 1_800_000_000_000 + self.elapsed_ms)


def harm(faults: Faults, doing: Doing, frames: int = 0) -> None:
    with faults.contained(doing, frames):
        raise RuntimeError(HOSTILE)


def test_a_fault_is_counted_by_what_was_done_with_the_frames_that_it_cost() -> None:
    faults = Faults(Clock())
    harm(faults, Doing.TELLING, 3)
    harm(faults, Doing.HEALTH)
    figures = {(figure.name, *figure.labels.values()): figure.value for figure in faults.figures()}
    assert figures["faults", "telling"] == figures["faults", "health"] == 1
    assert figures["faults", "judging"] == 0
    assert figures["untold",] == 3


def test_the_first_is_said_with_its_place_and_the_others_by_their_number() -> None:
    faults = Faults(Clock())
    with structlog.testing.capture_logs() as log:
        for _ in range(1000):
            harm(faults, Doing.JUDGING, 1)
        faults.tick()
        faults.tick()
    assert [line.get("count") for line in log] == [None, 999]
    assert log[0]["error"] == "RuntimeError"
    assert log[0]["where"].startswith("harm, line ")
    assert HOSTILE not in repr(log)


def test_the_gateway_is_degraded_for_an_hour_after_the_last_one() -> None:
    clock = Clock()
    faults = Faults(clock)
    assert faults.part().state is State.OK
    clock.elapsed_ms = 5000
    harm(faults, Doing.JUDGING, 1)
    clock.elapsed_ms = 5000 + SHOWN_MS - 1
    part = faults.part()
    assert (part.state, part.since_ms) == (State.DEGRADED, 1_800_000_005_000)
    assert part.why == "1 faults of the gateway's own since the start, the last one while judging"
    clock.elapsed_ms += 1
    assert faults.part().state is State.OK


def test_what_ends_the_process_is_let_through() -> None:
    with pytest.raises(KeyboardInterrupt), Faults(Clock()).contained(Doing.JUDGING):
        raise KeyboardInterrupt
