"""KISS framing, held to the published protocol and to any cut of the stream."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import kiss
from gateway.frames.frame import Damaged
from gateway.frames.kiss import MAXIMUM_ESCAPED_OCTETS, KissDecoder, encode
from tests.frames.strategies import splits

ports = st.integers(0, 15)
contents = st.binary(max_size=200) | st.lists(st.sampled_from([0xC0, 0xDB, 0xDC, 0xDD]), max_size=40).map(bytes)
data_frames = st.tuples(ports, contents)


def decode(*pieces: bytes) -> list[tuple[int, bytes | Damaged]]:
    decoder = KissDecoder()
    return [frame for piece in pieces for frame in decoder.feed(piece)]


@pytest.mark.parametrize(
    ("port", "octets", "stream"),
    [
        # KISS, the sections on framing and on the type indicator; the two texts are common examples of it, from memory.
        (0, b"TEST", "c0 00 54455354 c0"),
        (5, b"Hello", "c0 50 48656c6c6f c0"),
        (0, b"\xc0\xdb", "c0 00 dbdc dbdd c0"),
        (0, b"\xdb\xdc", "c0 00 dbdd dc c0"),
        # The type octet of port 12 is C0 itself and travels escaped, like any other octet of that value.
        (12, b"A", "c0 dbdc 41 c0"),
    ],
)
def test_the_published_form_is_written_and_read(port: int, octets: bytes, stream: str) -> None:
    published = bytes.fromhex(stream.replace(" ", ""))
    assert encode(octets, port) == published
    assert decode(published) == [(port, octets)]


@given(st.lists(data_frames, max_size=8), st.data())
def test_any_split_and_any_coalescing_decodes_the_same(sent: list[tuple[int, bytes]], data: st.DataObject) -> None:
    stream = b"".join(encode(octets, port) for port, octets in sent)
    assert decode(*data.draw(splits(stream))) == sent


@given(st.lists(data_frames, max_size=4))
def test_a_stream_that_dribbles_decodes_the_same(sent: list[tuple[int, bytes]]) -> None:
    stream = b"".join(encode(octets, port) for port, octets in sent)
    assert decode(*(stream[place : place + 1] for place in range(len(stream)))) == sent


@given(st.binary(max_size=600), st.data())
def test_any_bytes_at_all_decode_the_same_however_they_are_split(stream: bytes, data: st.DataObject) -> None:
    assert decode(*data.draw(splits(stream))) == decode(stream)


@pytest.mark.parametrize("port", range(16))
def test_every_port_is_told_apart(port: int) -> None:
    assert decode(encode(b"x", port)) == [(port, b"x")]


@pytest.mark.parametrize("port", [-1, 16])
def test_there_is_no_other_port(port: int) -> None:
    with pytest.raises(ValueError, match="from 0 to 15"):
        encode(b"x", port)


def test_one_fend_may_end_a_frame_and_begin_the_next() -> None:
    assert decode(b"\xc0\x00A\xc0\x10B\xc0") == [(0, b"A"), (1, b"B")]


def test_fends_back_to_back_are_padding() -> None:
    assert decode(b"\xc0\xc0\xc0\x00A\xc0\xc0\xc0") == [(0, b"A")]


def test_the_tail_of_a_frame_whose_head_was_not_seen_is_passed_over() -> None:
    assert decode(b"tail of one", b" frame\xc0\x00A\xc0") == [(0, b"A")]


@pytest.mark.parametrize("command", [0x01, 0x02, 0x03, 0x04, 0x05, 0x06, 0xFF, 0x31])
def test_commands_are_counted_and_passed_over(command: int) -> None:
    # They travel from host to modem only.
    decoder = KissDecoder()
    assert decoder.feed(b"\xc0" + bytes((command, 0x20)) + b"\xc0" + encode(b"x")) == [(0, b"x")]
    assert decoder.commands_ignored == 1


@pytest.mark.parametrize("broken", [b"\xc0\x00a\xdbb\xc0", b"\xc0\x00ab\xdb\xc0", b"\xc0\xdb\x00\xc0", b"\xc0\xdb\xc0"])
def test_a_broken_escape_damages_its_frame_and_no_other(broken: bytes) -> None:
    (port, bad), good = decode(broken + encode(b"next"))
    assert port == 0
    assert isinstance(bad, Damaged)
    assert bad.because == "a KISS escape is broken"
    assert good == (0, b"next")


@pytest.mark.parametrize("size", [1, 100, 5000])
def test_a_frame_without_end_is_damaged_once_and_the_next_one_is_read(size: int) -> None:
    stream = b"\xc0\x00" + b"x" * 50_000 + b"\xc0" + encode(b"next")
    frames = decode(*(stream[place : place + size] for place in range(0, len(stream), size)))
    assert len(frames) == 2
    assert isinstance(frames[0][1], Damaged)
    assert frames[1] == (0, b"next")


def test_the_longest_frame_that_is_taken_is_taken_and_one_octet_more_is_not() -> None:
    longest = b"x" * (MAXIMUM_ESCAPED_OCTETS - 1)
    assert decode(encode(longest)) == [(0, longest)]
    assert isinstance(decode(encode(longest + b"x"))[0][1], Damaged)


def test_a_frame_without_end_is_not_kept() -> None:
    decoder = KissDecoder()
    decoder.feed(b"\xc0\x00")
    for _ in range(100):
        decoder.feed(b"x" * 10_000)
    assert decoder.feed(b"\xc0") == []
    assert kiss.FEND not in decoder._stream._unfinished  # noqa: SLF001 - the bound is what is asked for
    assert len(decoder._stream._unfinished) <= MAXIMUM_ESCAPED_OCTETS  # noqa: SLF001 - as above
