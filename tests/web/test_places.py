"""Who may hold a connection to the web. The rules are ours."""

from hypothesis import given
from hypothesis import strategies as some

from gateway.web.places import Places


def test_everyone_gets_a_place_while_there_are_some() -> None:
    places = Places[str](limit=3, share=2)
    assert [places.take(name, name) for name in "abc"] == [None, None, None]
    assert (len(places), places.turned_away) == (3, 0)


def test_a_newcomer_takes_the_place_of_whoever_was_silent_for_longest() -> None:
    places = Places[str](limit=3, share=3)
    for name in "abc":
        places.take(name, name)
    places.ask("a")
    assert places.take("d", "d") == "b"
    assert (len(places), places.turned_away) == (3, 1)


def test_an_address_that_has_its_share_makes_room_among_its_own() -> None:
    places = Places[str](limit=9, share=2)
    for name, address in (("a", "other"), ("b", "greedy"), ("c", "greedy")):
        places.take(name, address)
    assert places.take("d", "greedy") == "b"
    assert places.take("e", "other") is None


def test_where_nobody_is_silent_the_newcomer_is_turned_away() -> None:
    places = Places[str](limit=1, share=1)
    places.take("a", "a")
    places.ask("a")
    assert places.take("b", "b") == "b"
    places.leave("b")
    assert len(places) == 1


def test_whoever_leaves_makes_room() -> None:
    places = Places[str](limit=1, share=1)
    places.take("a", "a")
    places.leave("a")
    places.leave("a")
    assert places.take("b", "a") is None


@given(some.lists(some.tuples(some.sampled_from(["take", "ask", "leave"]), some.integers(0, 9)), max_size=60))
def test_there_are_never_more_than_the_limit_nor_more_of_an_address_than_its_share(
    acts: list[tuple[str, int]],
) -> None:
    places = Places[int](limit=5, share=3)
    holding: set[int] = set()
    for act, who in acts:
        if act == "take" and who not in holding:
            holding.add(who)
            holding.discard(places.take(who, "even" if who % 2 else "odd"))
        elif act == "ask":
            places.ask(who)
        elif act == "leave":
            places.leave(who)
            holding.discard(who)
        assert len(places) == len(holding) <= 5
        for parity in (0, 1):
            assert sum(one % 2 == parity for one in holding) <= 3
