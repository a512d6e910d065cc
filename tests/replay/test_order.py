"""The frames of a capture are put back into the order in which they were heard, and what is missing is counted."""

import random
from collections.abc import Iterable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.judge.verdict import Decision, Verdict
from gateway.replay.order import MAXIMUM_HELD, MAXIMUM_OPEN_RUNS, Order, in_order
from gateway.replay.record import Record
from tests.replay.recording import heard

Place = tuple[str, int]


def record(run: str, sequence: int, policy: str | None = None) -> Record:
    verdict = None if policy is None else Verdict(Decision.FORWARD, policy)
    return Record(heard(b"QA1BCD-9>APRS:>here", sequence=sequence, run=run), verdict)


def ordered(places: Iterable[Place]) -> tuple[list[Place], Order]:
    order = Order()
    found = in_order((record(run, sequence) for run, sequence in places), order)
    return [(each.heard.run, each.heard.sequence) for each in found], order


def run(sequences: Iterable[int], identity: str = "a") -> list[Place]:
    return [(identity, sequence) for sequence in sequences]


def test_a_run_in_order_goes_through_as_it_is() -> None:
    found, order = ordered(run(range(1, 1001)))
    assert found == run(range(1, 1001))
    assert order == Order(frames=1000, runs=1)
    assert order.complete


def test_frames_out_of_order_are_put_in_their_place() -> None:
    found, order = ordered(run([3, 1, 2, 5, 4, 6]))
    assert found == run(range(1, 7))
    assert (order.out_of_order, order.missing, order.repeated) == (3, 0, 0)
    assert order.complete


def test_a_frame_that_comes_again_is_left_out() -> None:
    found, order = ordered(run([1, 2, 2, 1, 4, 4, 3, 3, 5]))
    assert found == run(range(1, 6))
    assert order.repeated == 4
    assert order.complete


def test_missing_frames_are_counted_and_the_run_is_named() -> None:
    found, order = ordered(run([1, 2, 5, 6, 9]))
    assert found == run([1, 2, 5, 6, 9])
    assert (order.missing, order.runs_with_gaps, order.incomplete_runs) == (4, 1, ["a"])
    assert not order.complete


def test_a_capture_that_begins_late_says_how_many_came_before() -> None:
    found, order = ordered(run([50_000, 50_002, 50_001, 50_003]))
    assert found == run(range(50_000, 50_004))
    assert (order.missing_at_start, order.runs_begun_late, order.missing) == (49_999, 1, 0)
    assert not order.complete


def test_a_gap_holds_nothing_back_for_long() -> None:
    handed_on = 0
    read = 0

    def reading() -> Iterable[Record]:
        nonlocal read
        for sequence in range(2, 10_000):
            read += 1
            assert read - handed_on <= MAXIMUM_HELD + 1
            yield record("a", sequence)

    for _ in in_order(reading(), Order()):
        handed_on += 1
    assert handed_on == 9998


def test_a_frame_that_comes_far_too_late_is_left_out() -> None:
    late = MAXIMUM_HELD + 50
    found, order = ordered(run([1, *range(3, late), 2, late]))
    assert found == run([1, *range(3, late + 1)])
    assert (order.missing, order.repeated) == (1, 1)


def test_each_run_counts_for_itself() -> None:
    found, order = ordered([*run([1, 2, 4]), *run([1, 3], "b"), *run([2], "c")])
    assert found == [*run([1, 2, 4]), *run([1, 3], "b"), *run([2], "c")]
    assert (order.runs, order.missing, order.runs_with_gaps, order.missing_at_start, order.runs_begun_late) == (
        3,
        2,
        2,
        1,
        1,
    )
    assert order.incomplete_runs == ["a", "b", "c"]
    assert order.side_by_side == 0


def test_what_a_run_holds_back_is_handed_on_before_the_next_one_begins() -> None:
    found, _ = ordered([("a", 1), ("a", 3), ("b", 1)])
    assert found == [("a", 1), ("a", 3), ("b", 1)]


def test_runs_side_by_side_are_told() -> None:
    places = [("a", 1), ("b", 1), ("a", 2), ("b", 2), ("a", 3)]
    found, order = ordered(places)
    assert found == places
    assert (order.runs, order.side_by_side, order.complete) == (2, 3, True)


def test_very_many_runs_take_no_memory() -> None:
    found, order = ordered((f"run {number}", 1) for number in range(5000))
    assert len(found) == order.runs == 5000
    again, order = ordered([*((f"run {number}", 1) for number in range(MAXIMUM_OPEN_RUNS + 1)), ("run 0", 1)])
    assert len(again) == MAXIMUM_OPEN_RUNS + 2
    assert order.runs == MAXIMUM_OPEN_RUNS + 2


@pytest.mark.parametrize(
    ("records", "whole"),
    [
        ([record("a", 1), record("a", 2)], [True, True]),
        ([record("a", 1, "p"), record("a", 2, "p")], [True, True]),
        ([record("a", 1, "p"), record("a", 2, "q"), record("a", 3, "q")], [True, False, False]),
        ([record("a", 1), record("a", 3), record("b", 1)], [True, False, True]),
        ([record("a", 2)], [False]),
        ([record("a", 1, "p"), record("b", 1, "q"), record("b", 2, "q")], [True, True, True]),
    ],
)
def test_it_is_told_whether_the_capture_holds_all_that_was_known(records: list[Record], whole: list[bool]) -> None:
    order = Order()
    assert [order.whole for _ in in_order(records, order)] == whole


@settings(max_examples=50)
@given(st.integers(1, 400), st.randoms(use_true_random=False), st.integers(0, MAXIMUM_HELD // 2))
def test_any_disorder_within_the_bound_changes_nothing(length: int, chance: random.Random, spread: int) -> None:
    """Each frame is delivered up to `spread` places late, some of them twice."""
    delivered = sorted(
        [number + chance.randint(0, spread) + chance.random(), number]
        for number in range(1, length + 1)
        for _ in range(chance.choice((1, 1, 1, 2)))
    )
    found, order = ordered(run(int(number) for _, number in delivered))
    assert found == run(range(1, length + 1))
    assert order.complete
    assert order.repeated == len(delivered) - length


@given(st.lists(st.tuples(st.sampled_from("abcdef"), st.integers(0, 1000)), max_size=300))
def test_whatever_comes_each_frame_is_handed_on_once_at_most_and_in_order(places: list[Place]) -> None:
    found, order = ordered(places)
    assert len(found) == order.frames
    assert order.frames + order.repeated == len(places)
    assert set(found) <= set(places)
