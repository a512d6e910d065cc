"""AX.25 frames, held to the standard's own examples and to every frame that can be."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import ax25
from gateway.frames.frame import MAXIMUM_DAMAGED_OCTETS, Damaged, Frame
from gateway.frames.header import Header, Repeater
from tests.frames.strategies import any_frames, callsigns, headers, ui_frames

# AX.25, the worked examples that follow section 3.12 (figures of a frame without and with a repeater),
# from memory. Flags and check sequence left out, as a KISS modem does.
DIRECT_EXAMPLE = bytes.fromhex("9c946e a04040 e0  9c6e98 8a9a40 61  3e f0".replace(" ", ""))
REPEATED_EXAMPLE = bytes.fromhex("9c946e a04040 e0  9c6e98 8a9a40 60  9c6e9e 9e4040 e3  3e f0".replace(" ", ""))


def header_of(*callsigns: str) -> Header:
    destination, source, *path = callsigns
    entries = (Repeater(entry.removesuffix("*"), entry.endswith("*")) for entry in path)
    return Header(source, destination, tuple(entries))


@pytest.mark.parametrize(
    ("octets", "header"),
    [
        (DIRECT_EXAMPLE, header_of("NJ7P", "N7LEM")),
        (REPEATED_EXAMPLE, header_of("NJ7P", "N7LEM", "N7OO-1*")),
    ],
)
def test_the_standards_examples_are_read_and_written_octet_by_octet(octets: bytes, header: Header) -> None:
    # An I frame with N(R) 1, N(S) 7 and the poll bit: control 3E, and the protocol identifier for no layer 3.
    frame = Frame(header, b"", 0x3E, 0xF0)
    assert ax25.read(octets) == frame
    assert ax25.write(frame) == octets


@given(any_frames())
def test_what_is_written_is_read_as_itself(frame: Frame) -> None:
    assert ax25.read(ax25.write(frame)) == frame


@given(st.lists(ui_frames, min_size=1, max_size=5))
def test_frames_read_after_one_another_do_not_disturb_one_another(frames: list[Frame]) -> None:
    assert [ax25.read(ax25.write(frame)) for frame in frames] == frames


@given(st.binary(max_size=400))
def test_any_octets_at_all_are_a_frame_or_damaged(octets: bytes) -> None:
    assert isinstance(ax25.read(octets), Frame | Damaged)


@given(ui_frames, st.data())
def test_a_frame_cut_short_is_damaged_or_has_less_information(frame: Frame, data: st.DataObject) -> None:
    octets = ax25.write(frame)
    length = data.draw(st.integers(0, len(octets) - 1))
    cut = ax25.read(octets[:length])
    start_of_information = len(octets) - len(frame.information)
    if length < start_of_information:
        assert isinstance(cut, Damaged)
    else:
        assert cut == Frame(frame.header, frame.information[: length - start_of_information])


@given(headers)
def test_the_control_and_pid_octets_may_stand_in_the_information_too(header: Header) -> None:
    frame = Frame(header, b"\x03\xf0" * 20)
    assert ax25.read(ax25.write(frame)) == frame


def test_control_and_pid_inside_the_information_of_another_kind_of_frame_do_not_mislead() -> None:
    # The pair 03 F0 stands at a multiple of seven octets, where an address field could have ended.
    frame = Frame(Header("QA1BCD", "APRS"), b"12345\x03\xf0rest", 0x13, 0xF0)
    assert ax25.read(ax25.write(frame)) == frame


@pytest.mark.parametrize("control", range(256))
def test_i_and_ui_frames_alone_have_a_protocol_identifier(control: int) -> None:
    # AX.25 section 4.2: an I frame has bit 0 clear; UI is 000P0011 in either state of P.
    is_i = control % 2 == 0
    is_ui = control in {0x03, 0x13}
    assert ax25.has_pid(control) is (is_i or is_ui)


@pytest.mark.parametrize("ssid", range(16))
def test_every_ssid_is_read_and_zero_is_not_written(ssid: int) -> None:
    callsign = f"QA1BCD-{ssid}" if ssid else "QA1BCD"
    octets = ax25.write(Frame(Header(callsign, "APRS"), b"x"))
    assert octets[13] >> 1 & 0x0F == ssid
    assert ax25.read(octets) == Frame(Header(callsign, "APRS"), b"x")


@given(st.integers(0, 7).map(lambda bits: bits << 5), callsigns)
def test_reserved_and_command_bits_do_not_change_who_sent_it(bits: int, callsign: str) -> None:
    octets = bytearray(ax25.write(Frame(Header(callsign, "APRS"), b"x")))
    for ssid_octet in (6, 13):
        octets[ssid_octet] = octets[ssid_octet] & 0x1F | bits
    frame = ax25.read(bytes(octets))
    assert isinstance(frame, Frame)
    assert (frame.source, frame.destination) == (callsign, "APRS")


@pytest.mark.parametrize("end", [6, None])
def test_an_address_field_ends_at_its_last_address_and_nowhere_else(end: int | None) -> None:
    """The lowest bit of an address's last octet says that it is the last one (AX.25 section 3.12)."""
    field = bytearray(DIRECT_EXAMPLE[:14])
    field[13] &= 0xFE
    if end is not None:
        field[13] |= 0x01
        field[end] |= 0x01
    with pytest.raises(ax25.DamageError, match="does not end where its last address says"):
        ax25.read_header(bytes(field))


def test_eight_repeaters_are_read_and_a_ninth_is_damage() -> None:
    names = [f"QR{number}-{number}" for number in range(1, 10)]
    eight = Frame(Header("QA1BCD", "APRS", tuple(map(Repeater, names[:8]))), b"x")
    octets = ax25.write(eight)
    assert ax25.read(octets) == eight
    end = 10 * ax25.ADDRESS_OCTETS
    ninth = octets[: end - 1] + bytes((octets[end - 1] & 0xFE,)) + octets[end - 7 :]
    assert isinstance(ax25.read(ninth), Damaged)


def test_a_path_of_nine_cannot_be_written() -> None:
    path = tuple(Repeater(f"QR{number}") for number in range(9))
    with pytest.raises(ValueError, match="no more than 8 repeaters, this one 9"):
        ax25.write(Frame(Header("QA1BCD", "APRS", path), b""))


@pytest.mark.parametrize("callsign", ["QA1BCDE", "QA1BCD-16", "QA1BCD-X", "QA1BCD--1", "QÄ1", "QA1*", "Q>1"])
def test_a_callsign_that_does_not_fit_cannot_be_written(callsign: str) -> None:
    with pytest.raises(ValueError, match=r"does not fit an AX\.25 address"):
        ax25.write(Frame(Header(callsign, "APRS"), b""))


@pytest.mark.parametrize(
    ("octets", "because"),
    [
        (b"", "the address field has no end"),
        (b"\xa2" * 200, "the address field has no end"),
        (bytes.fromhex("82a0a4a64040e1"), "no whole number of addresses"),
        (bytes.fromhex("82a0a4a64041e0") + DIRECT_EXAMPLE[7:], "no whole number of addresses"),
        (DIRECT_EXAMPLE[:14], "before its control octet"),
        (DIRECT_EXAMPLE[:15], "before its protocol identifier"),
        (bytes((0x2A << 1,)) + DIRECT_EXAMPLE[1:], "no character of a callsign"),
        (bytes((0x0D << 1,)) + DIRECT_EXAMPLE[1:], "no character of a callsign"),
        (bytes((0x2D << 1,)) + DIRECT_EXAMPLE[1:], "no character of a callsign"),
    ],
)
def test_what_is_no_frame_is_damaged_and_says_why(octets: bytes, because: str) -> None:
    read = ax25.read(octets)
    assert isinstance(read, Damaged)
    assert because in read.because


def test_no_more_of_a_damaged_frame_is_kept_than_may_be() -> None:
    read = ax25.read(b"\xa2" * 2000)
    assert isinstance(read, Damaged)
    assert len(read.octets) == MAXIMUM_DAMAGED_OCTETS


def test_lower_case_and_spaces_of_a_header_are_kept_for_the_judge() -> None:
    frame = Frame(Header("qa1 b", "APRS"), b"x")
    assert ax25.read(ax25.write(frame)) == frame
