from hypothesis import given
from hypothesis import strategies as st

from gateway.club.stream_clock import DRIFT, GOOD_FOR_MS, StreamClock

DAY_MS = 86_400_000


def test_nothing_is_known_before_the_first_beat() -> None:
    clock = StreamClock()
    assert clock.latest(0) is None
    assert clock.earliest(0, 0) is None
    assert clock.uncertainty_ms(0) is None


def test_the_round_trip_is_the_uncertainty() -> None:
    clock = StreamClock()
    clock.measured(sent_ms=1000, stamp_ms=50_000, answered_ms=1200)
    assert clock.uncertainty_ms(1200) == 200
    assert clock.earliest(1200, 1200) == 50_000
    assert clock.latest(1200) == 50_201


@given(
    offset=st.integers(-DAY_MS, DAY_MS),
    there=st.floats(0, 3000),
    back=st.floats(0, 3000),
    passed=st.floats(0, GOOD_FOR_MS),
    drift=st.floats(-DRIFT, DRIFT),
)
def test_now_is_between_the_bounds_whatever_the_ways_took(
    offset: int, there: float, back: float, passed: float, drift: float
) -> None:
    clock = StreamClock()
    sent, answered = 10_000.0, 10_000.0 + there + back
    clock.measured(sent, sent + there + offset, answered)
    now = answered + passed
    truth = answered + offset + passed * (1 + drift)
    earliest, latest = clock.earliest(now, now), clock.latest(now)
    assert earliest is not None
    assert latest is not None
    assert earliest - 0.01 <= truth + 1
    assert truth <= latest + 0.01


def test_after_a_while_without_a_beat_nothing_is_known() -> None:
    clock = StreamClock()
    clock.measured(0, 50_000, 10)
    assert clock.latest(10 + GOOD_FOR_MS) is not None
    assert clock.latest(11 + GOOD_FOR_MS) is None


def test_a_stamp_from_later_than_now_can_be_says_that_another_clock_stamps() -> None:
    clock = StreamClock()
    clock.measured(0, 50_000, 10)
    clock.saw(50_500, now_ms=500)
    assert clock.jumps == 0
    clock.saw(53_000, now_ms=600)
    assert clock.jumps == 1
    assert clock.latest(600) is None
    clock.measured(700, 53_110, 705)
    assert clock.latest(705) == 53_116


def test_a_beat_that_contradicts_the_one_before_replaces_it() -> None:
    clock = StreamClock()
    clock.measured(0, 50_000, 10)
    clock.measured(1000, 48_000, 1010)
    assert clock.jumps == 1
    assert clock.latest(1010) == 48_011


def test_a_lost_connection_forgets_what_was_known() -> None:
    clock = StreamClock()
    clock.measured(0, 50_000, 10)
    clock.forget()
    assert clock.latest(11) is None
