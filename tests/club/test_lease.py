import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.club.lease import (
    LOOK_MS,
    MAXIMUM_RECORD_OCTETS,
    Lease,
    LeasePhase,
    LeaseRecord,
    LeaseWrite,
    Look,
    RecordError,
    Wait,
    read_record,
)

LEASE_MS = 6000
OTHER = LeaseRecord("qx2hub-10/7", 4, 900, 55)


def lease() -> Lease:
    return Lease("qx1hub-10/1", LEASE_MS)


def take(now_ms: float = 0.0) -> Lease:
    """A hub that has just taken a lease that nobody held."""
    standby = lease().looked(0, None, now_ms)
    request = standby.next(now_ms, able=True, first_mark=30)
    return standby.begin(request, now_ms).wrote(1, now_ms + 2)


def ask(holder: Lease, now_ms: float, give_out: int | None = None) -> Lease:
    request = holder.next(now_ms, able=True, give_out=give_out)
    assert isinstance(request, LeaseWrite)
    return holder.begin(request, now_ms)


def test_in_a_new_club_the_first_to_write_takes_it_and_sends_nothing_that_came_before() -> None:
    holder = take()
    assert holder.phase is LeasePhase.HOLDING
    assert holder.last_key is not None
    assert holder.last_key.record == LeaseRecord("qx1hub-10/1", 1, 30, 1)


def test_a_standby_looks_before_anything_else_and_again_soon() -> None:
    assert lease().next(0, able=True) == Look()
    standby = lease().looked(8, OTHER, 100)
    assert standby.next(100, able=True) == Wait(100 + LOOK_MS)
    assert standby.next(100 + LOOK_MS, able=True) == Look()


def test_a_lease_is_taken_when_it_stood_unchanged_for_its_length() -> None:
    standby = lease().looked(8, OTHER, 0).looked(8, OTHER, 5900)
    assert isinstance(standby.next(5999, able=True), Wait)
    expected = LeaseWrite(8, LeaseRecord("qx1hub-10/1", 5, 900, 56))
    assert standby.next(6000, able=True) == expected


def test_each_sign_of_life_begins_the_waiting_anew() -> None:
    standby = lease().looked(8, OTHER, 0).looked(9, replace(OTHER, beat=56), 5900)
    assert isinstance(standby.next(6001, able=True), Wait)


def test_who_is_not_able_to_send_takes_nothing() -> None:
    standby = lease().looked(8, OTHER, 0).looked(8, OTHER, 9000)
    assert isinstance(standby.next(9001, able=False), Wait)


def test_a_lease_that_was_given_up_is_taken_at_once() -> None:
    standby = lease().looked(8, replace(OTHER, holder=""), 0)
    assert standby.next(1, able=True) == LeaseWrite(8, LeaseRecord("qx1hub-10/1", 5, 900, 56))


def test_the_time_counts_from_the_beginning_of_the_write_not_from_its_answer() -> None:
    holder = ask(take(), 3000).wrote(2, 5000)
    assert holder.may_send(8999)
    assert not holder.may_send(9000)


def test_it_is_renewed_every_third_of_its_length() -> None:
    holder = take()
    assert holder.next(1999, able=True) == Wait(2000)
    assert isinstance(holder.next(2000, able=True), LeaseWrite)


def test_a_mark_is_written_before_anything_is_sent_and_renews_the_lease() -> None:
    holder = ask(take(), 100, give_out=44)
    assert holder.pending is not None
    assert holder.pending.record.handed_over == 44
    assert holder.wrote(2, 105).good_until_ms == 100 + LEASE_MS


def test_a_write_that_is_not_answered_counts_as_done_and_the_key_is_looked_at() -> None:
    holder = ask(take(), 100, give_out=44).unanswered()
    assert not holder.sure
    assert holder.next(200, able=True) == Look()
    again = holder.looked(1, LeaseRecord(holder.me, 1, 30, 1), 201)
    assert again.phase is LeasePhase.HOLDING
    renewal = again.next(2500, able=True)
    assert isinstance(renewal, LeaseWrite)
    assert renewal.record.handed_over == 44, "the lost write may be carried out yet"


def test_a_holder_whose_key_is_anothers_stands_by() -> None:
    holder = ask(take(), 100, give_out=44).refused()
    assert holder.next(101, able=True) == Look()
    standby = holder.looked(9, OTHER, 102)
    assert standby.phase is LeasePhase.STANDBY
    assert not standby.may_send(103)


def test_a_hub_that_was_started_again_is_another_and_waits() -> None:
    again = Lease("qx1hub-10/2", LEASE_MS).looked(8, LeaseRecord("qx1hub-10/1", 4, 900, 55), 0)
    assert isinstance(again.next(1, able=True), Wait)


def test_a_take_over_that_was_not_answered_is_finished_without_waiting() -> None:
    standby = lease().looked(8, OTHER, 0).looked(8, OTHER, 5900)
    standby = standby.begin(standby.next(6000, able=True), 6000).unanswered()
    assert standby.next(6100, able=True) == Look()
    seen = standby.looked(9, LeaseRecord(standby.me, 5, 900, 56), 6101)
    assert not seen.may_send(6102)
    assert seen.next(6102, able=True) == LeaseWrite(9, LeaseRecord(standby.me, 6, 900, 57))


def test_a_hub_that_stops_gives_the_lease_up() -> None:
    giving_up = take().giving_up()
    assert isinstance(giving_up, LeaseWrite)
    assert giving_up.record.holder == ""
    assert take().begin(giving_up, 10).wrote(2, 12).phase is LeasePhase.STANDBY
    assert lease().giving_up() is None


records = st.builds(
    LeaseRecord,
    st.text("abcxyz0189-/", max_size=64),
    st.integers(0, 2**53 - 1),
    st.integers(0, 2**53 - 1),
    st.integers(0, 2**53 - 1),
)


@given(records)
def test_a_record_reads_back_as_itself(record: LeaseRecord) -> None:
    assert read_record(record.to_octets()) == record


@given(st.binary(max_size=200) | st.recursive(st.none() | st.integers() | st.text(), st.lists).map(json.dumps))
def test_what_is_no_record_is_refused(found: bytes | str) -> None:
    octets = found.encode() if isinstance(found, str) else found
    with pytest.raises(RecordError):
        read_record(octets)


def test_a_record_that_is_nested_too_deep_to_be_read_is_refused() -> None:
    with pytest.raises(RecordError):
        read_record(b"[" * MAXIMUM_RECORD_OCTETS)


@pytest.mark.parametrize(
    "changed",
    [{"holder": "x" * 65}, {"holder": "a\nb"}, {"epoch": -1}, {"beat": True}, {"handed_over": 2**53}, {"x": 1}],
)
def test_a_record_with_a_field_out_of_bounds_is_refused(changed: dict[str, object]) -> None:
    fields = {"holder": "a", "epoch": 1, "handed_over": 1, "beat": 1, **changed}
    with pytest.raises(RecordError):
        read_record(json.dumps(fields).encode())
