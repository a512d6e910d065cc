import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.club import message
from gateway.club.message import Handed, MessageError
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Place
from tests.frames.strategies import any_frames, text_frames

places = st.builds(
    lambda latitude, longitude: Place(latitude / 10_000_000, longitude / 10_000_000),
    st.integers(-900_000_000, 900_000_000),
    st.integers(-1_800_000_000, 1_800_000_000),
)
names = st.from_regex(r"[a-z0-9][a-z0-9-]{0,62}", fullmatch=True)
moments = st.integers(0, 2**53 - 1)


@given(names, st.integers(0, 15), moments, st.none() | places, any_frames() | text_frames)
def test_a_frame_reaches_the_hub_as_it_was_heard(
    receiver: str, port: int, moment_ms: int, place: Place | None, frame: Frame
) -> None:
    handed = Handed(receiver, port, moment_ms, place, frame)
    assert message.read(message.write(handed)) == handed


def test_a_header_that_no_radio_can_send_travels_as_monitor_text() -> None:
    frame = Frame(Header("qlower", "APRS", (Repeater("QD1AA", used=True), Repeater("WIDE2-1"))), b">text")
    handed = Handed("vhf", 0, 5, None, frame)
    assert message.read(message.write(handed)).frame == frame


def test_what_a_receiver_could_not_read_stays_unread_at_the_hub() -> None:
    handed = Handed("vhf", 0, 5, None, damaged("the check sequence does not hold", b"\x82\xa0"))
    found = message.read(message.write(handed)).frame
    assert isinstance(found, Damaged)
    assert found.octets == b"\x82\xa0"


def test_a_place_is_kept_to_the_centimetre() -> None:
    place = Place(58.6, -3.9167)
    handed = Handed("vhf", 0, 5, place, Frame(Header("QA1BCD", "APRS"), b">"))
    assert message.read(message.write(handed)).place == place


@given(st.binary(max_size=message.MAXIMUM_OCTETS + 10))
def test_whatever_comes_is_read_or_refused(octets: bytes) -> None:
    with contextlib.suppress(MessageError):
        assert len(message.read(octets).receiver) <= message.MAXIMUM_RECEIVER


@given(st.integers(0, 23), st.integers(0, 255))
def test_a_damaged_head_never_raises_anything_else(place: int, octet: int) -> None:
    octets = bytearray(message.write(Handed("vhf", 0, 5, Place(1, 2), Frame(Header("QA1BCD", "APRS"), b">"))))
    octets[place] = octet
    with contextlib.suppress(MessageError):
        message.read(bytes(octets))


def test_what_is_longer_than_any_frame_is_refused_before_it_is_read() -> None:
    good = message.write(Handed("vhf", 0, 5, None, Frame(Header("QA1BCD", "APRS"), b">")))
    with pytest.raises(MessageError, match="length"):
        message.read(good + bytes(message.MAXIMUM_OCTETS))
    with pytest.raises(MessageError, match="longer than a frame"):
        message.read(good + bytes(message.MAXIMUM_OCTETS - len(good)))


def test_ids_differ_by_start_and_by_frame() -> None:
    run = message.new_run()
    assert len(run) == 32
    assert run != message.new_run()
    assert message.message_id(run, 1) != message.message_id(run, 2)
