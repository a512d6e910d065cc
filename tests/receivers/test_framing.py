"""What is spoken on a connection or in a datagram."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import ax25
from gateway.frames.frame import Damaged, Frame
from gateway.receivers.address import Scheme
from gateway.receivers.framing import FRAMINGS, Ax25Datagrams, KissFraming, Tnc2Datagrams, Tnc2Framing
from tests.check_sequence import append_fcs
from tests.receivers.listening import frame, in_kiss


@pytest.mark.parametrize("scheme", sorted(set(Scheme) - {Scheme.FILE}))
def test_every_kind_of_source_has_a_framing(scheme: Scheme) -> None:
    assert FRAMINGS[scheme]().ignored == 0


@given(st.sampled_from(list(FRAMINGS.values())), st.lists(st.binary(max_size=200), max_size=6))
def test_any_bytes_at_all_become_frames_or_damage(framing_of: type, pieces: list[bytes]) -> None:
    framing = framing_of()
    for piece in pieces:
        for port, read in framing.feed(piece):
            assert 0 <= port <= 15
            assert isinstance(read, Frame | Damaged)


def test_kiss_tells_ports_apart_and_counts_commands() -> None:
    framing = KissFraming()
    assert framing.feed(in_kiss("one", port=3) + b"\x01\x20\xc0" + in_kiss("two")) == [
        (3, frame("one")),
        (0, frame("two")),
    ]
    assert framing.ignored == 1


def test_monitor_text_waits_for_the_end_of_a_line_and_counts_comments() -> None:
    framing = Tnc2Framing()
    assert framing.feed(b"# hello\r\nQA1BCD-9>APRS:o") == []
    assert framing.feed(b"ne\r\n") == [(0, frame("one"))]
    assert framing.ignored == 1


def test_a_datagram_of_monitor_text_holds_whole_lines_and_its_last_needs_no_end() -> None:
    framing = Tnc2Datagrams()
    assert framing.feed(b"QA1BCD-9>APRS:one\r\nQA1BCD-9>APRS:two") == [(0, frame("one")), (0, frame("two"))]
    assert framing.feed(b"QA1BCD-9>APRS:three") == [(0, frame("three"))]


def test_a_datagram_never_continues_the_one_before() -> None:
    framing = Tnc2Datagrams()
    framing.feed(b"QA1BCD-9>APRS:on")
    assert framing.feed(b"QA1BCD-9>APRS:two") == [(0, frame("two"))]


def test_a_datagram_of_ax25_holds_one_frame_whose_check_sequence_must_hold() -> None:
    # RFC 1226: the frame with its check sequence; over UDP by common practice.
    octets = append_fcs(ax25.write(frame("one")))
    framing = Ax25Datagrams()
    assert framing.feed(octets) == [(0, frame("one"))]
    ((_, read),) = framing.feed(octets[:-1] + b"\x00")
    assert isinstance(read, Damaged)
    assert read.because == "the check sequence does not hold"
