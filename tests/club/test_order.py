import pytest

from gateway.club.order import LONGEST_STEP_MS, GapError, StreamOrder


def test_elapsed_time_goes_by_the_stamps() -> None:
    order = StreamOrder()
    assert order.take(17, 1_000_000).elapsed_ms == 0
    assert order.take(18, 1_000_250).elapsed_ms == 250
    assert order.take(19, 1_000_250).elapsed_ms == 250
    assert order.take(20, 1_001_000).time_ms == 1_001_000


def test_a_clock_that_is_set_neither_turns_time_back_nor_jumps_a_window() -> None:
    order = StreamOrder()
    order.take(1, 1_000_000)
    assert order.take(2, 400_000).elapsed_ms == 0
    assert order.take(3, 900_000_000).elapsed_ms == LONGEST_STEP_MS


def test_what_was_taken_is_not_taken_again_and_what_is_missing_is_noticed() -> None:
    order = StreamOrder()
    assert order.follows(40)
    order.take(40, 0)
    assert not order.follows(40)
    assert not order.follows(3)
    assert order.follows(41)
    with pytest.raises(GapError, match="after message 40 of the stream comes 42"):
        order.follows(42)


def test_two_readers_agree_wherever_the_second_begins() -> None:
    stamps = [5_000, 5_900, 5_800, 99_000, 99_001]
    first, second = StreamOrder(), StreamOrder()
    for sequence, stamp in enumerate(stamps, 1):
        told = first.take(sequence, stamp)
        if sequence == 2:
            second = StreamOrder(first.sequence, first.stamp_ms, first.elapsed_ms)
        elif sequence > 2:
            assert second.take(sequence, stamp) == told
