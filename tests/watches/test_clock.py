import pytest

from gateway.frames.heard import Moment
from gateway.groundwork.part import State
from gateway.watches.clock import SHOWN_MS, ClockWatch
from tests.answers import figure
from tests.judged_frames import NOON_MS

SECOND = 1000
MINUTE = 60 * SECOND
HOUR = 60 * MINUTE


class Clocks:
    """A wall clock that can be set, and one that cannot."""

    def __init__(self, wall_ms: int = NOON_MS) -> None:
        self.moment = Moment(0, wall_ms)
        self.watch = ClockWatch(self.moment)

    def after(self, milliseconds: int, *, set_by: int = 0) -> tuple[State, str]:
        """How the clock is so much later, having been set by so much in between."""
        before = self.moment
        self.moment = Moment(before.elapsed_ms + milliseconds, before.time_ms + milliseconds + set_by)
        self.watch.look(self.moment)
        part = self.watch.part()
        assert (part.do == "") is (part.state is State.OK)
        return part.state, part.why


def test_a_clock_that_is_left_alone_is_fine_since_the_start() -> None:
    clocks = Clocks()
    assert {clocks.after(10 * SECOND) for _ in range(100)} == {(State.OK, "")}
    part = clocks.watch.part()
    assert (part.kind, part.name, part.since_ms) == ("clock", "clock", NOON_MS)


@pytest.mark.parametrize("steered_ms", [-1000, -5, 5, 1000, 2000])
def test_a_clock_that_is_steered_or_takes_a_leap_second_is_fine(steered_ms: int) -> None:
    assert Clocks().after(10 * SECOND, set_by=steered_ms) == (State.OK, "")


@pytest.mark.parametrize(
    ("set_by", "why"),
    [
        (3 * HOUR + 2 * MINUTE, "the clock was set ahead by 3 h 2 min, or the computer slept"),
        (-90 * SECOND, "the clock was set back by 1 min 30 s"),
    ],
)
def test_a_clock_that_was_set_is_told_for_a_while(set_by: int, why: str) -> None:
    clocks = Clocks()
    clocks.after(MINUTE)
    assert clocks.after(10 * SECOND, set_by=set_by) == (State.DEGRADED, why)
    assert clocks.watch.part().since_ms == clocks.moment.time_ms
    assert clocks.after(SHOWN_MS - 1) == (State.DEGRADED, why)
    assert clocks.after(1) == (State.OK, "")


def test_a_clock_that_is_set_again_and_again_is_told_so() -> None:
    clocks = Clocks()
    clocks.after(10 * SECOND, set_by=MINUTE)
    clocks.after(10 * SECOND, set_by=-MINUTE)
    state, why = clocks.after(10 * SECOND, set_by=-MINUTE)
    assert (state, why) == (State.DEGRADED, "the clock was set back by 1 min, 3 times since the start")
    assert figure(clocks.watch, "clock_set") == 3


def test_a_clock_before_this_program_was_written_is_wrong_until_it_is_set() -> None:
    clocks = Clocks(wall_ms=0)
    assert clocks.after(10 * SECOND) == (
        State.DEGRADED,
        "the clock shows 1970-01-01, which is before this program was written",
    )
    assert clocks.after(HOUR)[0] is State.DEGRADED
    state, why = clocks.after(10 * SECOND, set_by=NOON_MS)
    assert state is State.DEGRADED
    assert why.startswith("the clock was set ahead by 20610 d")
    assert clocks.after(SHOWN_MS) == (State.OK, "")
