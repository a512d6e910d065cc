"""Streams cut at a delimiter, and the bound on what is kept of them."""

from hypothesis import given
from hypothesis import strategies as st

from gateway.frames.delimited import DelimitedStream
from tests.frames.strategies import splits

LIMIT = 10


def pieces_of(*data: bytes, starts_delimited: bool = True) -> list[bytes]:
    stream = DelimitedStream(b"|", LIMIT, starts_delimited=starts_delimited)
    return [piece for each in data for piece in stream.feed(each)]


crowded = st.lists(st.sampled_from(b"||||ab"), max_size=80).map(bytes) | st.binary(max_size=80)


@given(crowded, st.booleans(), st.data())
def test_any_split_gives_the_same_pieces(data: bytes, starts_delimited: bool, drawn: st.DataObject) -> None:
    split = drawn.draw(splits(data))
    assert pieces_of(*split, starts_delimited=starts_delimited) == pieces_of(data, starts_delimited=starts_delimited)


@given(crowded)
def test_the_pieces_are_those_between_the_delimiters_cut_to_one_more_than_the_limit(data: bytes) -> None:
    *complete, unfinished = data.split(b"|")
    expected = [piece[: LIMIT + 1] for piece in complete if piece]
    if len(unfinished) > LIMIT:
        expected.append(unfinished[: LIMIT + 1])
    assert pieces_of(data) == expected


def test_before_the_first_delimiter_nothing_is_given_back_where_the_stream_does_not_start_at_one() -> None:
    assert pieces_of(b"tail", b"|one|", starts_delimited=False) == [b"one"]
    assert pieces_of(b"head", b"|one|") == [b"head", b"one"]


def test_what_is_too_long_is_given_back_once_as_soon_as_that_is_known() -> None:
    stream = DelimitedStream(b"|", LIMIT, starts_delimited=True)
    assert stream.feed(b"x" * LIMIT) == []
    assert stream.feed(b"x") == [b"x" * (LIMIT + 1)]
    assert stream.feed(b"x" * 1000) == []
    assert stream.feed(b"x|y|") == [b"y"]


@given(crowded, st.data())
def test_empty_pieces_come_back_where_they_are_asked_for(data: bytes, drawn: st.DataObject) -> None:
    stream = DelimitedStream(b"|", LIMIT, starts_delimited=True, keeps_empty=True)
    pieces = [piece for each in drawn.draw(splits(data + b"|")) for piece in stream.feed(each)]
    assert pieces == [piece[: LIMIT + 1] for piece in data.split(b"|")]
