"""A clock that is wrong deletes nothing, or so little that there is time to set it right."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.frames.heard import Moment
from gateway.groundwork.duration import DAY_MS, HOUR_MS, MINUTE_MS, SECOND_MS
from gateway.journal.ageing import Ageing
from tests.judged_frames import NOON_MS

KEEP_MS = 30 * DAY_MS
OLDEST_MS = NOON_MS - 30 * DAY_MS - 12 * HOUR_MS


class Clocks:
    """A steady clock and one that may be set, asked every minute."""

    def __init__(self, time_ms: int = NOON_MS) -> None:
        self.ageing = Ageing(KEEP_MS)
        self.moment = Moment(0, time_ms)
        self.jumps = [self.ageing.jump_ms(self.moment)]

    def wait(self, milliseconds: int, set_by: int = 0) -> None:
        step = min(milliseconds, MINUTE_MS)
        for _ in range(milliseconds // step):
            self.moment = Moment(self.moment.elapsed_ms + step, self.moment.time_ms + step + set_by)
            self.jumps.append(self.ageing.jump_ms(self.moment))
            set_by = 0

    def before(self, oldest_ms: int = OLDEST_MS) -> int | None:
        return self.ageing.before_ms(self.moment, oldest_ms)


def test_once_the_clock_was_steady_for_an_hour_what_is_too_old_may_go() -> None:
    clocks = Clocks()
    clocks.wait(HOUR_MS - MINUTE_MS)
    assert clocks.before() is None
    clocks.wait(MINUTE_MS)
    assert clocks.before() == clocks.moment.time_ms - KEEP_MS
    assert not any(clocks.jumps)


def test_a_clock_that_runs_a_year_ahead_for_a_minute_deletes_nothing() -> None:
    clocks = Clocks()
    clocks.wait(2 * HOUR_MS)
    clocks.wait(MINUTE_MS, set_by=366 * DAY_MS)
    assert clocks.jumps[-1] == 366 * DAY_MS
    assert clocks.before() is None
    clocks.wait(MINUTE_MS, set_by=-366 * DAY_MS)
    assert clocks.jumps[-1] == -366 * DAY_MS
    assert clocks.before() is None
    clocks.wait(HOUR_MS)
    assert clocks.before() == clocks.moment.time_ms - KEEP_MS


def test_one_that_stays_ahead_takes_a_day_of_rows_in_an_hour() -> None:
    clocks = Clocks(NOON_MS + 366 * DAY_MS)
    clocks.wait(HOUR_MS)
    oldest_ms = OLDEST_MS
    for hour in range(1, 4):
        for _ in range(3):
            before_ms = clocks.before(oldest_ms)
            assert before_ms == OLDEST_MS + hour * DAY_MS
            oldest_ms = before_ms
            clocks.wait(20 * MINUTE_MS)


def test_an_hour_of_rows_goes_at_a_time() -> None:
    clocks = Clocks()
    clocks.wait(HOUR_MS)
    before_ms = clocks.before()
    clocks.wait(HOUR_MS - MINUTE_MS)
    assert clocks.before() == before_ms
    clocks.wait(MINUTE_MS)
    assert clocks.before() == clocks.moment.time_ms - KEEP_MS


def test_a_clock_that_cannot_be_right_deletes_nothing() -> None:
    clocks = Clocks(86_400_000)
    clocks.wait(5 * HOUR_MS)
    assert clocks.before(0) is None


def test_a_clock_that_is_steered_is_steady() -> None:
    clocks = Clocks()
    for _ in range(60):
        clocks.wait(MINUTE_MS, set_by=2 * SECOND_MS)
    assert clocks.before() is not None


@given(st.lists(st.tuples(st.integers(0, 3 * HOUR_MS), st.integers(-(10**12), 10**12)), max_size=30))
def test_whatever_the_clock_does_an_hour_takes_a_day_of_rows_at_most(steps: list[tuple[int, int]]) -> None:
    ageing = Ageing(KEEP_MS)
    moment, oldest_ms = Moment(0, NOON_MS), 0
    taken: list[tuple[int, int]] = []
    for passed, set_by in steps:
        moment = Moment(moment.elapsed_ms + passed, max(0, moment.time_ms + passed + set_by))
        ageing.jump_ms(moment)
        before_ms = ageing.before_ms(moment, oldest_ms)
        if before_ms is not None and before_ms > oldest_ms:
            taken.append((moment.elapsed_ms, before_ms - oldest_ms))
            oldest_ms = before_ms
    for began_ms, _ in taken:
        lately = sum(much for at_ms, much in taken if began_ms <= at_ms < began_ms + HOUR_MS)
        assert lately <= 2 * DAY_MS  # of two hours that meet in it
