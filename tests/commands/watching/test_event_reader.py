"""Our reading of server-sent events, beside a general library's."""

from itertools import pairwise

import httpx
import pytest
from httpx_sse import EventSource
from hypothesis import given
from hypothesis import strategies as st

from gateway.commands.watching.event_reader import LONGEST_EVENT, EventReader, EventStreamError, SentEvent

STREAM = (
    b"\xef\xbb\xbfretry: 2000\n\n:\n\n"
    b'id: 0f1e-1\nevent: heard\ndata: {"caf\xc3\xa9": 1}\n\n'
    b"data:first\r\ndata: second\r\n\r\n"
    b"event: nothing\n\n"
    b"id\rdata\rdata: x\r\r"
)
EVENTS = [
    SentEvent("heard", '{"café": 1}', "0f1e-1"),
    SentEvent("message", "first\nsecond", "0f1e-1"),
    SentEvent("message", "\nx", ""),
]


def read(*pieces: bytes) -> list[SentEvent]:
    reader = EventReader()
    return [event for piece in pieces for event in reader.feed(piece)]


def test_a_stream_is_read_as_the_html_standard_says() -> None:
    assert read(STREAM, b"\n") == EVENTS


@given(st.lists(st.integers(0, len(STREAM)), max_size=20))
def test_any_cut_reads_the_same(places: list[int]) -> None:
    cuts = sorted({0, *places, len(STREAM)})
    pieces = [STREAM[begin:end] for begin, end in pairwise(cuts)]
    assert read(*pieces, b"\n") == EVENTS


@given(st.lists(st.binary(max_size=200), max_size=10))
def test_any_bytes_at_all_raise_nothing(pieces: list[bytes]) -> None:
    read(*pieces)


LINES = st.sampled_from(
    ["data: a", "data:b", "data", ": note", "event: heard", "id: r-1", "unknown: x", "", "", "data: "]
)


@given(st.lists(LINES, max_size=20))
def test_it_reads_what_the_library_reads(lines: list[str]) -> None:
    octets = "".join(f"{line}\n" for line in lines).encode()
    response = httpx.Response(200, headers={"Content-Type": "text/event-stream"}, content=octets)
    expected = [(event.event, event.data) for event in EventSource(response).iter_sse() if event.data]
    assert [(event.kind, event.data) for event in read(octets)] == expected


@pytest.mark.parametrize("piece", [b"data: " + b"x" * 65_536, b"data: " + b"x" * 65_529 + b"\n"])
def test_an_event_without_end_is_refused(piece: bytes) -> None:
    pieces = [piece] * (LONGEST_EVENT // len(piece) + 2)
    with pytest.raises(EventStreamError):
        read(*pieces)
