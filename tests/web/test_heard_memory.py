from gateway.feed.heard_object import HeardPayload
from gateway.web.event_log import weight_of
from gateway.web.heard_memory import HeardMemory
from tests.judged_frames import NOON_MS, Post


def memory_of(frames: int, *, limit: int = 100, limit_octets: int = 1 << 30, octets: int = 1) -> HeardMemory:
    memory = HeardMemory(limit=limit, limit_octets=limit_octets)
    post = Post()
    for _ in range(frames):
        payload = HeardPayload(post.hear(b"QA1BCD>APRS:>" + b"x" * octets))
        memory.heard(payload, weight_of(payload))
    return memory


def sequences(page: list[HeardPayload]) -> list[int]:
    return [payload.judged.heard.sequence for payload in page]


def test_a_page_has_the_newest_first_and_tells_where_the_next_begins() -> None:
    memory = memory_of(5)
    page, before = memory.page(2, None)
    assert (sequences(page), before) == ([5, 4], 4)
    page, before = memory.page(2, before)
    assert (sequences(page), before) == ([3, 2], 2)
    page, before = memory.page(2, before)
    assert (sequences(page), before) == ([1], None)


def test_a_page_that_ends_with_the_oldest_tells_of_no_next_one() -> None:
    assert memory_of(4).page(4, None)[1] is None


def test_before_everything_there_is_nothing() -> None:
    assert memory_of(4).page(4, 1) == ([], None)


def test_what_is_remembered_is_bounded_in_number_and_in_octets() -> None:
    assert sequences(memory_of(10, limit=3).page(100, None)[0]) == [10, 9, 8]
    assert len(memory_of(100, limit_octets=20_000, octets=1000)) == 2


def test_it_knows_when_the_last_frame_was_heard() -> None:
    assert memory_of(0).last_heard_ms is None
    assert memory_of(3).last_heard_ms == NOON_MS


def test_frames_from_before_a_restart_come_first_though_their_sequences_are_higher() -> None:
    memory = HeardMemory(limit=100, limit_octets=1 << 30)
    for run, first, last in (("earlier", 7, 9), ("this", 1, 2)):
        post = Post(run)
        for number in range(1, last + 1):
            payload = HeardPayload(post.hear(b"QA1BCD>APRS:>x"))
            if number >= first:
                memory.heard(payload, 1)
    page, before = memory.page(3, None)
    assert sequences(page) == [2, 1, 9]
    page, before = memory.page(3, before)
    assert (sequences(page), before) == ([8, 7], None)
