"""The lines of captures: numbered, bounded, and what is no heard object named."""

import contextlib
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.frames.capture import (
    MAXIMUM_LINE_OCTETS,
    BadLine,
    CaptureLine,
    CaptureLines,
    read_heard,
    read_object,
)
from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment
from gateway.frames.plain import PlainFormError, to_object
from tests.frames.strategies import any_frames, splits


def lines_of(*data: bytes) -> list[CaptureLine | BadLine]:
    lines = CaptureLines()
    return [*(line for each in data for line in lines.feed(each)), *lines.end()]


crowded = st.lists(st.sampled_from([b"\n", b"\r\n", b" ", b"{}", b"x" * MAXIMUM_LINE_OCTETS]), max_size=20).map(
    b"".join
)


@settings(deadline=None)
@given(st.binary(max_size=300) | crowded, st.data())
def test_any_split_gives_the_same_lines(data: bytes, drawn: st.DataObject) -> None:
    assert lines_of(*drawn.draw(splits(data))) == lines_of(data)


def test_lines_are_numbered_as_an_editor_shows_them() -> None:
    assert lines_of(b"one\n\n  \r\ntwo\r\nthree") == [
        CaptureLine(1, b"one"),
        CaptureLine(4, b"two"),
        CaptureLine(5, b"three"),
    ]


def test_a_line_that_is_too_long_is_named_once_and_the_next_is_read() -> None:
    long = BadLine(2, f"the line is longer than {MAXIMUM_LINE_OCTETS} octets")
    assert lines_of(b"one\n", *[b"x" * 1000] * 100, b"\ntwo\n") == [
        CaptureLine(1, b"one"),
        long,
        CaptureLine(3, b"two"),
    ]
    assert lines_of(b"x" * MAXIMUM_LINE_OCTETS) == [CaptureLine(1, b"x" * MAXIMUM_LINE_OCTETS)]
    assert lines_of(b"\n", b"x" * (MAXIMUM_LINE_OCTETS + 1)) == [long]


def test_an_empty_capture_has_no_lines() -> None:
    assert lines_of() == []
    assert lines_of(b"\n\n") == []


@given(any_frames(), st.integers(0, 15))
def test_a_line_of_any_frame_is_read_as_what_was_heard(frame: Frame, port: int) -> None:
    heard = Heard("run", 7, Moment(12, 1_780_747_200_000), "vhf", port, frame)
    assert read_heard(json.dumps(to_object(heard, frame)).encode()) == heard


@pytest.mark.parametrize(
    ("line", "because"),
    [
        (b"no json", "no JSON"),
        (b"\xff\xfe\xff", "no JSON"),
        (b"[" * 60_000, "no JSON"),
        (b"9" * 60_000, "no JSON"),
        (b"[]", "JSON, but no object"),
        (b"7", "JSON, but no object"),
        (b'{"run": 1}', "run: text belongs here"),
    ],
    ids=["text", "no UTF-8", "deep", "huge number", "list", "number", "other object"],
)
def test_a_line_that_is_no_heard_object_says_why(line: bytes, because: str) -> None:
    with pytest.raises(PlainFormError) as error:
        read_heard(line)
    assert str(error.value) == because


@given(st.binary(max_size=200) | st.text('{}[]":,e-0123456789natrulfs\\u', max_size=80).map(str.encode))
def test_any_bytes_at_all_are_an_object_or_none(line: bytes) -> None:
    with contextlib.suppress(PlainFormError):
        assert isinstance(read_object(line), dict)


@pytest.mark.parametrize(
    "line",
    [
        b'{"a":"\\ud800"}',  # half of a surrogate pair
        b'{"a":"\xed\xa0\x80"}',
        b'{"a":' + b"[" * 300 + b"]" * 300 + b"}",
        b'{"a":NaN,"b":-0.0,"c":1e400,"d":123456789012345678901234567890}',
        b'\xef\xbb\xbf{"a":1}',
        b'{"a":1,"a":2}',
    ],
)
def test_an_object_is_read_as_the_standard_library_reads_it(line: bytes) -> None:
    assert repr(read_object(line)) == repr(json.loads(line))
