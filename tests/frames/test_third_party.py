"""Frames inside frames, and the bound on how deep they are followed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.third_party import MAXIMUM_DEPTH, is_third_party, unwrap
from tests.frames.strategies import followed_headers, text_frames, ui_frames


def wrap(inner: Frame, header: Header) -> Frame:
    return Frame(header, b"}" + tnc2.write(inner))


def test_the_published_form_is_unwrapped() -> None:
    # APRS101 chapter 17: }source path:data, the path ending in the network and the callsign of the gateway, used.
    frame = Frame(Header("QX9GAT", "APRS"), b"}QA1BCD-9>APRS,QNET,QX9GAT*:!5836.00N/00355.00W>")
    unwrapped = unwrap(frame)
    assert unwrapped.malformed is None
    assert unwrapped.layers[0] is frame
    assert unwrapped.innermost == Frame(
        Header("QA1BCD-9", "APRS", (Repeater("QNET", used=True), Repeater("QX9GAT", used=True))),
        b"!5836.00N/00355.00W>",
    )


@given(text_frames.filter(lambda frame: not is_third_party(frame)), st.lists(followed_headers, max_size=MAXIMUM_DEPTH))
def test_frames_inside_one_another_are_all_found(innermost: Frame, outer: list[Header]) -> None:
    layers = [innermost]
    for header in outer:
        layers.append(wrap(layers[-1], header))
    unwrapped = unwrap(layers[-1])
    assert unwrapped.malformed is None
    assert unwrapped.innermost == innermost
    assert [layer.header for layer in unwrapped.layers] == [layer.header for layer in reversed(layers)]


def test_four_frames_inside_are_read_and_a_fifth_is_too_much() -> None:
    # Four is ours: the network's own servers nest no deeper than one (common practice).
    inside = unwrap(Frame(Header("QA1BCD", "APRS"), b"}QB2CDE>APRS:" * 4 + b">on the water"))
    assert (len(inside.layers), inside.malformed, inside.innermost.information) == (5, None, b">on the water")
    too_deep = unwrap(Frame(Header("QA1BCD", "APRS"), b"}QB2CDE>APRS:" * 5 + b">on the water"))
    assert too_deep.malformed == "more than 4 frames stand inside one another"


@given(text_frames)
def test_deeper_than_the_bound_is_malformed(innermost: Frame) -> None:
    frame = innermost
    for _ in range(MAXIMUM_DEPTH + 1):
        frame = wrap(frame, Header("QA1BCD", "APRS"))
    unwrapped = unwrap(frame)
    assert unwrapped.malformed is not None
    assert len(unwrapped.layers) == MAXIMUM_DEPTH + 1


def test_an_ordinary_frame_is_its_own_innermost() -> None:
    frame = Frame(Header("QA1BCD", "APRS"), b">on the water")
    assert unwrap(frame).layers == (frame,)


@pytest.mark.parametrize(
    "information",
    [b"}", b"}:", b"}no header", b"}QA1BCD:x", b"}QA1BCD>APRS", b"}QA1>B>C:x", b"}QA1\r\nBCD>APRS:x", b"}\xff>APRS:x"],
)
def test_what_cannot_be_read_inside_is_malformed_and_the_outer_frame_remains(information: bytes) -> None:
    frame = Frame(Header("QA1BCD", "APRS"), information)
    unwrapped = unwrap(frame)
    assert unwrapped.malformed is not None
    assert unwrapped.innermost is frame


@given(ui_frames, st.binary(max_size=200))
def test_any_bytes_at_all_may_stand_inside(frame: Frame, inside: bytes) -> None:
    unwrapped = unwrap(Frame(frame.header, b"}" + inside))
    assert 1 <= len(unwrapped.layers) <= MAXIMUM_DEPTH + 1
