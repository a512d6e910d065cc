"""Monitor text: both star conventions, the bounds, and any bytes at all."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import ax25, tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.tnc2 import MAXIMUM_HEADER_OCTETS, MAXIMUM_LINE_OCTETS, LineDecoder
from tests.frames.strategies import any_frames, followed_headers, splits, text_frames


def decode(*pieces: bytes) -> list[bytes | Damaged]:
    decoder = LineDecoder()
    return [line for piece in pieces for line in decoder.feed(piece)]


@given(text_frames)
def test_a_line_with_the_last_used_repeater_starred_is_read_as_it_was(frame: Frame) -> None:
    assert tnc2.read(tnc2.write(frame)) == frame


@given(text_frames)
def test_a_line_with_every_used_repeater_starred_is_read_the_same(frame: Frame) -> None:
    assert tnc2.read(frame.header.text.encode() + b":" + frame.information) == frame


@given(followed_headers)
def test_both_conventions_give_the_same_network_header(header: Header) -> None:
    assert tnc2.read_header(header.text.encode()).network == tnc2.read_header(header.network).network == header.network


def test_a_star_marks_all_before_it_as_used() -> None:
    # Common practice: only the last used repeater carries the star.
    assert tnc2.read_header(b"QA1BCD-9>APRS,QD1HRB,QD1HDL*,WIDE2-1").path == (
        Repeater("QD1HRB", used=True),
        Repeater("QD1HDL", used=True),
        Repeater("WIDE2-1"),
    )


def test_an_ssid_of_zero_is_not_kept() -> None:
    header = tnc2.read_header(b"QA1BCD-0>APRS-0,QD1HRB-0*,WIDE2-10")
    assert header.text == "QA1BCD>APRS,QD1HRB*,WIDE2-10"


def test_information_keeps_colons_stars_and_every_octet_above_127() -> None:
    information = b":QB2BCD   :a:b*c>d" + bytes(range(128, 256)) + b"\x00\x1c\x7f "
    assert tnc2.read(b"QA1BCD>APRS:" + information) == Frame(Header("QA1BCD", "APRS"), information)


def test_empty_information_is_read_as_empty() -> None:
    assert tnc2.read(b"QA1BCD>APRS:") == Frame(Header("QA1BCD", "APRS"), b"")


def test_a_callsign_that_only_the_network_has_is_read_from_text() -> None:
    # IS-Connect: SSIDs of letters; they come from no AX.25 frame.
    frame = tnc2.read(b"QA1BCD-AB>APRS,qAS,QX1GAT-10:x")
    assert isinstance(frame, Frame)
    assert frame.source == "QA1BCD-AB"


@pytest.mark.parametrize(
    ("line", "because"),
    [
        (b"QA1BCD>APRS no colon", "no colon"),
        (b"QA1BCD APRS:x", "no > after its source"),
        (b"QA1BCD>APRS>QB2:x", "holds what none can"),
        (b"QA1*BCD>APRS:x", "holds what none can"),
        (b"QA1BCD>APRS,QD1HRB**:x", "holds what none can"),
        (b"QA1BCD>AP\x00RS:x", "holds what none can"),
        (b"QA1BCD>APR\xffS:x", "octets above 127"),
        (b"Q" * (MAXIMUM_HEADER_OCTETS + 1) + b">APRS:x", "the header is longer"),
        (b"QA1BCD>APRS" + b",QD1HRB" * 9 + b":x", "more than 8 repeaters"),
    ],
)
def test_what_is_no_line_is_damaged_and_says_why(line: bytes, because: str) -> None:
    read = tnc2.read(line)
    assert isinstance(read, Damaged)
    assert because in read.because


def test_eight_repeaters_are_read() -> None:
    assert isinstance(tnc2.read(b"QA1BCD>APRS" + b",QD1HRB*" * 8 + b":x"), Frame)


@given(st.binary(max_size=400))
def test_any_bytes_at_all_are_a_frame_or_damaged(line: bytes) -> None:
    assert isinstance(tnc2.read(line), Frame | Damaged)


@given(st.text(st.characters(max_codepoint=127), max_size=60).map(str.encode))
def test_any_header_is_read_or_refused_with_its_own_error(text: bytes) -> None:
    try:
        header = tnc2.read_header(text)
    except tnc2.HeaderError:
        return
    assert tnc2.read_header(header.network).network == header.network


@given(any_frames())
def test_a_frame_from_the_air_never_becomes_two_lines(frame: Frame) -> None:
    read = ax25.read(ax25.write(frame))
    assert isinstance(read, Frame)
    line = tnc2.write(read)
    assert b"\r" not in line
    assert b"\n" not in line


@pytest.mark.parametrize("end", [b"\r", b"\n", b"\r\n", b"\n\r"])
def test_information_is_cut_at_its_first_line_end(end: bytes) -> None:
    assert tnc2.first_line(b"kept" + end + b"QB2BCD>APRS:injected") == b"kept"
    assert tnc2.first_line(end) == b""


@pytest.mark.parametrize("end", [b"\r", b"\n", b"\r\n"])
def test_lines_may_end_in_any_of_the_three_ways(end: bytes) -> None:
    assert decode(b"A>B:1" + end + b"A>B:2" + end) == [b"A>B:1", b"A>B:2"]


lines = st.lists(st.binary(min_size=1, max_size=60).map(lambda line: b"Q" + line.translate(None, b"\r\n")), max_size=8)


@given(lines, st.sampled_from([b"\r", b"\n", b"\r\n"]), st.data())
def test_any_split_and_any_coalescing_gives_the_same_lines(sent: list[bytes], end: bytes, data: st.DataObject) -> None:
    assert decode(*data.draw(splits(b"".join(line + end for line in sent)))) == sent


def test_comments_are_counted_and_passed_over_and_empty_lines_are_nothing() -> None:
    decoder = LineDecoder()
    assert decoder.feed(b"# a decoder says who it is\r\n\r\n\nA>B:1\n#\n") == [b"A>B:1"]
    assert decoder.comments_ignored == 2


def test_a_line_without_end_is_damaged_once_and_the_next_one_is_read() -> None:
    damage, line = decode(*[b"x" * 1000] * 50, b"\nA>B:1\n")
    assert isinstance(damage, Damaged)
    assert line == b"A>B:1"


def test_the_longest_line_that_is_taken_is_taken_and_one_octet_more_is_not() -> None:
    longest = b"x" * MAXIMUM_LINE_OCTETS
    assert decode(longest + b"\n") == [longest]
    assert isinstance(decode(longest + b"x\n")[0], Damaged)
