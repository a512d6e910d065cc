from hypothesis import given
from hypothesis import strategies as st

from gateway.groundwork.bounded import BoundedMapping, Newest, SheddingQueue


def test_one_entry_too_many_pushes_out_the_first_and_says_which() -> None:
    pushed_out: list[str] = []
    mapping = BoundedMapping[str, int](2, pushed_out.append)
    for number, key in enumerate("abc"):
        mapping[key] = number
    assert (dict(mapping), pushed_out) == ({"b": 1, "c": 2}, ["a"])


def test_what_is_renewed_goes_last_and_what_is_only_written_over_keeps_its_place() -> None:
    mapping = BoundedMapping[str, int](2)
    mapping["a"], mapping["b"] = 1, 2
    assert mapping.renew("a") == 1
    mapping["b"] = 3
    mapping["c"] = 4
    assert dict(mapping) == {"a": 1, "c": 4}


def test_what_is_not_there_cannot_be_renewed() -> None:
    mapping = BoundedMapping[str, int](2)
    assert mapping.renew("a") is None
    assert not mapping


@given(st.lists(st.tuples(st.integers(0, 9), st.booleans())), st.integers(1, 5))
def test_a_mapping_holds_what_was_put_or_renewed_last(steps: list[tuple[int, bool]], limit: int) -> None:
    mapping, in_order = BoundedMapping[int, int](limit), list[int]()
    for key, renews in steps:
        if renews or key in in_order:
            mapping.renew(key)
        else:
            mapping[key] = key + 1
        if key in in_order or not renews:
            in_order = [*(other for other in in_order if other != key), key][-limit:]
        assert list(mapping) == in_order


def test_a_full_queue_sheds_the_oldest_and_says_so() -> None:
    queue = SheddingQueue[int](2)
    assert [queue.offer(number) for number in range(4)] == [False, False, True, True]
    assert list(queue) == [2, 3]


def values(newest: Newest[int]) -> list[int]:
    return [value for value, _ in newest]


def test_the_newest_are_bounded_by_number_and_by_octets() -> None:
    newest = Newest[int](3, 100)
    for number in range(5):
        newest.put(number, 10)
    assert values(newest) == [2, 3, 4]
    newest.put(5, 90)
    assert values(newest) == [4, 5]


def test_the_very_newest_stays_however_large() -> None:
    newest = Newest[int](3, 100)
    for number, octets in enumerate([1, 1000, 1]):
        newest.put(number, octets)
        assert values(newest) == [number]
