"""A gateway that stood still takes nothing that waited for new. The rules are ours."""

from hypothesis import given
from hypothesis import strategies as some

from gateway.frames.moment import Moment
from gateway.frames.pulse import CATCH_UP_MS, SHOWN_MS, STANDSTILL_MS, FrameSource, Pulse
from gateway.groundwork.part import State

TIME_MS = 1_800_000_000_000


def at(elapsed_ms: int) -> Moment:
    return Moment(elapsed_ms, TIME_MS + elapsed_ms)


def a_pulse(*beats_ms: int) -> Pulse:
    pulse = Pulse(TIME_MS)
    for beat_ms in (0, *beats_ms):
        pulse.beat(at(beat_ms))
    return pulse


def test_while_it_turns_everything_is_heard_when_it_is_read() -> None:
    pulse = a_pulse(250, 500, 750)
    assert pulse.heard(at(900), FrameSource(), emptied=True) == at(900)


def test_a_read_before_the_first_beat_after_a_standstill_counts_from_where_that_began() -> None:
    assert a_pulse(250).heard(at(20_250), FrameSource(), emptied=True) == at(250)


def test_a_read_after_that_beat_does_so_too_and_the_next_read_does_not() -> None:
    pulse, source = a_pulse(250, 20_250), FrameSource()
    assert pulse.heard(at(20_251), source, emptied=True) == at(250)
    assert pulse.heard(at(20_252), source, emptied=True) == at(20_252)


def test_what_is_left_over_in_a_source_has_waited_as_well_however_long_it_takes_to_read() -> None:
    pulse, source = a_pulse(250, 20_250), FrameSource()
    assert pulse.heard(at(20_251), source, emptied=False) == at(250)
    pulse.beat(at(20_500))
    assert pulse.heard(at(20_250 + CATCH_UP_MS + 400), source, emptied=True) == at(250)
    assert pulse.heard(at(20_250 + CATCH_UP_MS + 500), source, emptied=True).elapsed_ms > 20_250


def test_on_a_computer_that_is_still_overloaded_what_is_read_before_the_second_beat_has_waited_too() -> None:
    pulse = a_pulse(250, 20_250, 21_150)
    assert pulse.heard(at(21_200), FrameSource(), emptied=True) == at(250)
    pulse.beat(at(21_400))
    assert pulse.heard(at(21_450), FrameSource(), emptied=True) == at(21_450)


def test_a_source_that_had_nothing_waiting_is_heard_at_once_a_little_later() -> None:
    pulse = a_pulse(250, 20_250, 20_500, 20_750, 21_000)
    assert pulse.heard(at(20_250 + CATCH_UP_MS + 1), FrameSource(), emptied=True).elapsed_ms == 20_250 + CATCH_UP_MS + 1


def test_a_standstill_is_told_once_counted_and_shown_for_a_while() -> None:
    pulse = a_pulse(250)
    standstill = pulse.beat(at(20_250))
    assert standstill is not None
    assert standstill.seconds == 20
    part = pulse.part()
    assert (part.state, part.since_ms) == (State.DEGRADED, TIME_MS + 20_250)
    assert part.why.startswith("the gateway stood still for 20 s: ")
    assert [figure.value for figure in pulse.figures()] == [1, 20]
    for beat_ms in range(20_500, 20_250 + SHOWN_MS + 250, 250):
        assert pulse.beat(at(beat_ms)) is None
    assert pulse.part().state is State.OK


STEPS = some.lists(some.tuples(some.integers(1, 3 * STANDSTILL_MS), some.sampled_from(["beat", "read"])), max_size=60)


@given(STEPS)
def test_what_is_read_is_new_or_counts_from_where_a_standstill_began(steps: list[tuple[int, str]]) -> None:
    pulse, source, now_ms, beat_ms = Pulse(TIME_MS), FrameSource(), 0, 0
    began: set[int] = set()
    pulse.beat(at(0))
    for pause_ms, act in steps:
        now_ms += pause_ms
        stands_still = now_ms - beat_ms > STANDSTILL_MS
        if stands_still:
            began.add(beat_ms)
        if act == "beat":
            pulse.beat(at(now_ms))
            beat_ms = now_ms
        else:
            heard_ms = pulse.heard(at(now_ms), source, emptied=True).elapsed_ms
            assert heard_ms == beat_ms if stands_still else heard_ms in {now_ms, *began}
