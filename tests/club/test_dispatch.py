from collections.abc import Callable

from hypothesis import given
from hypothesis import strategies as st

from gateway.club.dispatch import BATCH_LINES, Dispatch, DispatchOutcome, Due

LINE = b"QA1BCD>APRS,qAO,QX1GAT-10:>text\r\n"


def dispatch(freshness_ms: int = 10_000, limit_octets: int = 100_000) -> Dispatch:
    return Dispatch(freshness_ms=freshness_ms, report=lambda *_: None, limit_octets=limit_octets)


def dues(*sequences: int, moment_ms: int = 0) -> list[Due]:
    return [Due(sequence, LINE, moment_ms) for sequence in sequences]


def test_a_batch_is_given_out_under_one_mark_and_written_once() -> None:
    sending = dispatch()
    sending.put(dues(3, 7, 9))
    assert sending.give_out(0) == 9
    assert [due.sequence for due in sending.to_write(0)] == [3, 7, 9]
    sending.sent(3)
    assert sending.counts[DispatchOutcome.SENT] == 3
    assert sending.give_out(0) is None


def test_a_batch_is_small() -> None:
    sending = dispatch()
    sending.put(dues(*range(1, 200)))
    assert sending.give_out(0) == BATCH_LINES


def test_what_the_network_did_not_take_at_once_is_unconfirmed() -> None:
    sending = dispatch()
    sending.put(dues(1, 2, 3))
    sending.give_out(0)
    sending.to_write(0)
    sending.sent(1)
    assert (sending.counts[DispatchOutcome.SENT], sending.counts[DispatchOutcome.UNCONFIRMED]) == (1, 2)


def test_a_mark_that_came_too_late_sends_nothing_stale() -> None:
    sending = dispatch(freshness_ms=1000)
    sending.put(dues(1) + dues(2, moment_ms=900))
    sending.give_out(1000)
    assert [due.sequence for due in sending.to_write(1001)] == [2]
    assert sending.counts[DispatchOutcome.UNCONFIRMED] == 1


def test_nothing_is_written_where_it_is_not_known_how_late_it_is() -> None:
    sending = dispatch()
    sending.put(dues(1))
    sending.give_out(0)
    assert sending.to_write(None) == []
    assert sending.counts[DispatchOutcome.UNCONFIRMED] == 1


def test_a_refused_mark_leaves_its_frames_to_wait_again_in_order() -> None:
    sending = dispatch()
    sending.put(dues(1, 2, 3))
    sending.give_out(0)
    sending.refused()
    assert sending.give_out(0) == 3
    assert [due.sequence for due in sending.to_write(0)] == [1, 2, 3]


def test_what_waited_too_long_is_late_wherever_it_stands() -> None:
    sending = dispatch(freshness_ms=1000)
    sending.put(dues(1, moment_ms=2000) + dues(2, moment_ms=0) + dues(3, moment_ms=2000))
    sending.expire(2500)
    assert sending.counts[DispatchOutcome.LATE] == 0
    assert sending.give_out(2500) == 3
    assert sending.counts[DispatchOutcome.LATE] == 1


def test_under_anothers_mark_a_frame_is_its_to_send_and_settled_when_that_hub_lives_on() -> None:
    standby = dispatch()
    standby.put(dues(1, 2, 3))
    standby.marked(2, (1, 5))
    assert standby.waiting == 3
    standby.marked(2, (1, 5))
    assert standby.counts[DispatchOutcome.ELSEWHERE] == 0
    standby.marked(2, (1, 6))
    assert standby.counts[DispatchOutcome.ELSEWHERE] == 2
    assert standby.waiting == 1


def test_what_a_hub_gave_out_before_it_died_is_unconfirmed_and_not_sent_again() -> None:
    standby = dispatch()
    standby.put(dues(1, 2, 3))
    standby.marked(2, (1, 5))
    standby.taken_over(2)
    assert standby.counts[DispatchOutcome.UNCONFIRMED] == 2
    assert standby.give_out(0) == 3


def test_what_is_read_late_from_the_stream_is_still_under_the_mark() -> None:
    standby = dispatch()
    standby.marked(5, (1, 5))
    standby.put(dues(4))
    standby.taken_over(5)
    standby.put(dues(5, 6))
    assert standby.give_out(0) == 6
    assert [due.sequence for due in standby.to_write(0)] == [6]
    assert standby.counts[DispatchOutcome.UNCONFIRMED] == 2


def test_past_its_bound_the_oldest_goes() -> None:
    sending = dispatch(limit_octets=2 * len(LINE))
    sending.put(dues(1, 2, 3))
    assert sending.counts[DispatchOutcome.DROPPED] == 1
    sending.give_out(0)
    assert [due.sequence for due in sending.to_write(0)] == [2, 3]


def put(sending: Dispatch, now: int) -> None:
    sending.put([Due(2 * now, LINE, now), Due(2 * now + 1, LINE, now - 3)])


def give_out(sending: Dispatch, now: int) -> None:
    if not sending.given_out:
        sending.give_out(now)


def write_half(sending: Dispatch, now: int) -> None:
    sending.sent(len(sending.to_write(now)) // 2)


ACTS: list[Callable[[Dispatch, int], object]] = [
    put,
    give_out,
    write_half,
    lambda sending, _: sending.refused(),
    lambda sending, _: sending.unconfirmed(),
    lambda sending, now: sending.expire(now),
    lambda sending, now: sending.marked(now, (1, now)),
    lambda sending, now: sending.taken_over(now),
    lambda sending, _: sending.stop(),
]


@given(st.lists(st.sampled_from(ACTS), max_size=60))
def test_at_every_moment_everything_offered_is_accounted_for(acts: list[Callable[[Dispatch, int], object]]) -> None:
    sending = dispatch(freshness_ms=6, limit_octets=5 * len(LINE))
    for now, act in enumerate(acts, 1):
        act(sending, now)
        assert sending.offered == sum(sending.counts.values()) + sending.waiting + sending.given_out
