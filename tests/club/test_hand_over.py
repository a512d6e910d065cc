from hypothesis import given
from hypothesis import strategies as st

from gateway.club.hand_over import COST_OF_ONE, MAXIMUM_UNDER_WAY, End, HandOver, Offer, Parcel
from gateway.frames.frame import Frame
from gateway.frames.header import Header

FRAME = Frame(Header("QA1BCD", "APRS"), b">text")
COST = COST_OF_ONE + len(FRAME.information)


def offers(count: int, heard_ms: float = 0.0) -> list[Offer]:
    return [Offer("vhf", 0, heard_ms, FRAME)] * count


def take(hand_over: HandOver) -> Parcel:
    parcel = hand_over.take()
    assert parcel is not None
    return parcel


def test_the_oldest_goes_first_and_is_handed_on_when_it_is_answered() -> None:
    hand_over = HandOver(freshness_ms=10_000)
    hand_over.put(offers(2))
    first, second = take(hand_over), take(hand_over)
    assert (first.sequence, second.sequence) == (1, 2)
    hand_over.answered(second)
    assert hand_over.counts[End.HANDED_ON] == 1
    assert hand_over.under_way == 1
    assert hand_over.take() is None


def test_what_is_not_answered_waits_again_where_it_stood() -> None:
    hand_over = HandOver(freshness_ms=10_000)
    hand_over.put(offers(3))
    first = take(hand_over)
    first.moment_ms = 77
    hand_over.unanswered(first)
    again = take(hand_over)
    assert (again.sequence, again.moment_ms, again.published) == (1, 77, 2)
    assert hand_over.repeated == 1


def test_what_is_no_longer_fresh_is_late_or_where_it_was_published_unanswered() -> None:
    hand_over = HandOver(freshness_ms=1000)
    hand_over.put(offers(2, heard_ms=0) + offers(1, heard_ms=500))
    hand_over.unanswered(take(hand_over))
    hand_over.expire(1001)
    assert hand_over.counts[End.LATE] == hand_over.counts[End.UNANSWERED] == 1
    assert hand_over.waiting == 1


def test_past_its_bound_the_oldest_that_waits_goes() -> None:
    hand_over = HandOver(freshness_ms=1000, limit_octets=2 * COST)
    hand_over.put(offers(3))
    assert hand_over.counts[End.DROPPED] == 1
    assert take(hand_over).sequence == 2


def test_no_more_are_under_way_than_may_be() -> None:
    hand_over = HandOver(freshness_ms=1000)
    hand_over.put(offers(MAXIMUM_UNDER_WAY + 1))
    under_way = [take(hand_over) for _ in range(MAXIMUM_UNDER_WAY)]
    assert hand_over.take() is None
    hand_over.answered(under_way[0])
    assert take(hand_over).sequence == MAXIMUM_UNDER_WAY + 1


def test_a_stop_leaves_nothing_unsaid() -> None:
    hand_over = HandOver(freshness_ms=1000)
    hand_over.put(offers(3))
    hand_over.unanswered(take(hand_over))
    hand_over.stop()
    assert hand_over.counts[End.STOPPED] == 2
    assert hand_over.counts[End.UNANSWERED] == 1


@given(st.lists(st.sampled_from(["put", "take", "answer", "lose", "refuse", "expire"]), max_size=60))
def test_at_every_moment_everything_offered_is_accounted_for(acts: list[str]) -> None:
    hand_over = HandOver(freshness_ms=5, limit_octets=4 * COST)
    under_way: list[Parcel] = []
    for now_ms, act in enumerate(acts):
        if act == "put":
            hand_over.put(offers(2, heard_ms=now_ms))
        elif act == "take":
            parcel = hand_over.take()
            under_way += [parcel] if parcel is not None else []
        elif act == "expire":
            hand_over.expire(now_ms)
        elif under_way and act == "lose":
            hand_over.unanswered(under_way.pop(0))
        elif under_way:
            hand_over.answered(under_way.pop(), End.REFUSED if act == "refuse" else End.HANDED_ON)
        ended = sum(hand_over.counts.values())
        assert hand_over.offered == ended + hand_over.waiting + hand_over.under_way
