"""What waits to be written: bounded, the oldest shed, and what belongs together taken together."""

from collections import deque

from gateway.feed.heard_object import HeardPayload
from gateway.frames.plain import PlainObject
from gateway.journal.batch import Batch, Dump, PolicyTexts, Waiting
from gateway.judge.verdict import Judged
from tests.journal.keeping import batch_of, frames
from tests.judged_frames import NOON_MS


def sequences(batch: Batch) -> list[int]:
    return [payload.judged.heard.sequence for payload in batch.heard]


def waiting_with(count: int, limit: int = 10) -> Waiting:
    waiting = Waiting(limit)
    for judged in frames(count):
        waiting.offer_heard(HeardPayload(judged))
    return waiting


def test_the_oldest_frames_are_taken_first() -> None:
    waiting = waiting_with(5)
    assert sequences(waiting.take(3)) == [1, 2, 3]
    assert sequences(waiting.take(3)) == [4, 5]
    assert sequences(waiting.take(3)) == []
    assert waiting.is_empty


def test_beyond_the_limit_the_oldest_are_shed_and_counted() -> None:
    waiting = waiting_with(14)
    assert len(waiting) == 10
    assert waiting.shed_heard == 4
    assert sequences(waiting.take(100)) == list(range(5, 15))


def test_a_time_of_sending_goes_with_its_frame_or_after_it() -> None:
    waiting = waiting_with(5)
    for sequence in (1, 2, 4):
        waiting.offer_sent(sequence, NOON_MS + sequence)
    assert waiting.take(3).sent == {1: NOON_MS + 1, 2: NOON_MS + 2}
    waiting.offer_sent(3, NOON_MS + 3)
    assert not waiting.is_empty
    assert waiting.take(3).sent == {3: NOON_MS + 3, 4: NOON_MS + 4}
    waiting.offer_sent(5, NOON_MS + 5)
    assert not waiting.is_empty
    assert waiting.take(3).sent == {5: NOON_MS + 5}
    assert waiting.is_empty


def test_a_frame_may_be_sent_before_it_is_offered_itself() -> None:
    waiting = Waiting(10)
    waiting.offer_sent(1, NOON_MS)
    waiting.offer_heard(HeardPayload(frames(1)[0]))
    batch = waiting.take(1)
    assert sequences(batch) == [1]
    assert batch.sent == {1: NOON_MS}


def test_times_of_sending_are_bounded_too() -> None:
    waiting = waiting_with(1)
    for sequence in range(1, 31):
        waiting.offer_sent(sequence, NOON_MS)
    assert waiting.shed_sent == 20
    assert list(waiting.take(1).sent) == list(range(21, 31))


def test_of_a_memory_only_the_newest_dump_waits() -> None:
    waiting = Waiting(10)
    waiting.offer_dump(Dump("judge", 1, heard=3))
    waiting.offer_dump(Dump("judge", 1, heard=5))
    waiting.offer_dump(Dump("hearing", 1, heard=5))
    assert [(dump.name, dump.heard) for dump in waiting.take(1).dumps.values()] == [("judge", 5), ("hearing", 5)]
    assert waiting.take(1).dumps == {}


def test_a_memory_that_is_still_as_it_was_dumped_takes_no_dump_away() -> None:
    waiting = Waiting(10)
    waiting.offer_dump(Dump("judge", 1, heard=3, pieces=deque([{"budgets": {}}])))
    waiting.offer_dump(Dump("judge", 1, heard=5, changed=False))
    [dump] = waiting.take(1).dumps.values()
    assert (dump.heard, dump.changed, list(dump.pieces)) == (5, True, [{"budgets": {}}])


def test_dumps_are_encoded_piece_by_piece_after_the_frames() -> None:
    batch = Batch(beginning=Dump("judge", 1, 0, pieces=deque([{}])))
    batch.put_dump(Dump("judge", 1, 3, pieces=deque([{"a": 1}, {"b": 2}])))
    batch.heard.extend(map(HeardPayload, frames(1)))
    assert [batch.encode(0) for _ in range(4)] == [True, True, True, False]
    assert batch.beginning is not None
    assert batch.beginning.encoded == [b"{}"]
    assert batch.dumps["judge"].encoded == [b'{"a":1}', b'{"b":2}']


def test_policies_wait_in_their_order_within_a_bound() -> None:
    waiting = Waiting(10)
    policies = [PolicyTexts(f"hill@{number}", NOON_MS, ()) for number in range(20)]
    for policy in policies:
        waiting.offer_policy(policy)
    assert waiting.take(1).policies == policies[-Waiting.MAXIMUM_POLICIES :]
    assert waiting.is_empty


def test_at_the_end_all_that_waits_is_shed() -> None:
    waiting = waiting_with(3)
    waiting.offer_sent(3, NOON_MS)
    waiting.offer_dump(Dump("judge", 1, heard=3))
    waiting.offer_policy(PolicyTexts("hill@aaaaaa", NOON_MS, ()))
    waiting.shed_all()
    assert waiting.is_empty
    assert (waiting.shed_heard, waiting.shed_sent) == (3, 1)


def test_frames_are_encoded_a_stretch_at_a_time() -> None:
    judged = frames(3)
    batch = Batch()
    batch.heard.extend(map(HeardPayload, judged))
    assert [batch.encode(0) for _ in range(3)] == [True, True, False]
    assert batch.encode(0) is False
    assert [row.encoded for row in batch.rows] == [HeardPayload(each).encoded() for each in judged]


def test_a_frame_that_cannot_be_encoded_is_counted_and_the_others_go_on() -> None:
    def read(judged: Judged) -> PlainObject | None:
        if judged.heard.sequence == 2:
            raise LookupError("a fault of our own")
        return {"kind": "unknown"}

    batch = Batch()
    batch.heard.extend(HeardPayload(judged, read) for judged in frames(3))
    assert batch.encode(10) is False
    assert [row.sequence for row in batch.rows] == [1, 3]
    assert (batch.failed, batch.failure) == (1, "LookupError")
    assert len(batch) == 3


def test_a_row_names_the_source_of_the_innermost_frame() -> None:
    assert [row.source for row in batch_of(frames(2)).rows] == ["QA1BCD-1", "QA1BCD-2"]
