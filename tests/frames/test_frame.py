"""The frame itself, and the damage that may stand in its place."""

import dataclasses

import pytest

from gateway.frames.frame import MAXIMUM_DAMAGED_OCTETS, Frame, damaged
from gateway.frames.header import Header


def test_a_frame_is_a_ui_frame_of_no_layer_3_unless_it_says_otherwise() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b"x")
    assert (frame.control, frame.pid) == (0x03, 0xF0)


def test_a_frame_cannot_be_changed() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b"x")
    with pytest.raises(dataclasses.FrozenInstanceError):
        frame.information = b"y"  # type: ignore[misc] # that it cannot is what is shown


def test_no_more_damage_is_kept_than_may_be() -> None:
    assert damaged("why", b"x" * 5000).octets == b"x" * MAXIMUM_DAMAGED_OCTETS
