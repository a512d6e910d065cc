"""Time-stamped lines of monitor text: times as RFC 3339 writes them, or Unix seconds."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import tnc2
from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Moment
from gateway.frames.plain import rfc3339
from gateway.replay.timed_lines import RUN, UNNAMED_RECEIVER, TimedLineError, TimedLines
from tests.frames.strategies import text_frames

LINE = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>moored"
NOON_MS = 1_780_747_200_000


@pytest.mark.parametrize(
    ("time", "time_ms"),
    [
        # RFC 3339 section 5.8, the section's own examples
        (b"1985-04-12T23:20:50.52Z", 482_196_050_520),
        (b"1996-12-19T16:39:57-08:00", 851_042_397_000),
        (b"1937-01-01T12:00:27.87+00:20", None),  # before 1970
        (b"1990-12-31T23:59:60Z", None),  # a leap second; clocks of computers have none
        # RFC 3339 section 5.6: a space may stand for the T, and the letters may be lower case
        (b"2026-06-06 12:00:00Z", NOON_MS),
        (b"2026-06-06t12:00:00z", NOON_MS),
        (b"2026-06-06T12:00:00.123456789Z", NOON_MS + 123),
        (b"2026-02-30T12:00:00Z", None),
        # Unix seconds
        (b"1780747200", NOON_MS),
        (b"1780747200.5", NOON_MS + 500),
        (b"1780747200.123456789", NOON_MS + 123),
        (b"0", 0),
    ],
)
def test_a_time_is_read_or_refused(time: bytes, time_ms: int | None) -> None:
    if time_ms is None:
        with pytest.raises(TimedLineError):
            TimedLines().read(time + b" " + LINE)
        return
    heard = TimedLines().read(time + b" " + LINE)
    assert heard is not None
    assert heard.moment == Moment(0, time_ms)
    assert heard.frame == tnc2.read(LINE)


def test_the_receiver_may_stand_between() -> None:
    lines = TimedLines()
    named = lines.read(b"1780747200 vhf-2  " + LINE)
    unnamed = lines.read(b"1780747200\t" + LINE)
    assert named is not None
    assert unnamed is not None
    assert (named.receiver, unnamed.receiver) == ("vhf-2", UNNAMED_RECEIVER)
    assert named.frame == unnamed.frame == tnc2.read(LINE)
    assert (named.run, named.sequence, unnamed.sequence) == (RUN, 1, 2)


def test_a_word_before_what_is_no_frame_names_no_receiver() -> None:
    heard = TimedLines().read(b"1780747200 vhf noise, and more>noise")
    assert heard is not None
    assert heard.receiver == UNNAMED_RECEIVER
    assert heard.frame == tnc2.read(b"vhf noise, and more>noise")


def test_elapsed_time_is_derived_from_the_times() -> None:
    lines = TimedLines()
    heard = [lines.read(b"%d " % second + LINE) for second in (1_780_747_200, 1_780_747_230, 1_780_747_231)]
    assert [each.moment.elapsed_ms for each in heard if each] == [0, 30_000, 31_000]


def test_a_clock_that_is_set_back_lets_no_time_pass_and_is_counted() -> None:
    lines = TimedLines()
    heard = [lines.read(b"%d " % second + LINE) for second in (1_000_000_060, 1_000_000_000, 1_000_000_010)]
    assert [each.moment.elapsed_ms for each in heard if each] == [0, 0, 10_000]
    assert lines.clock_set_back == 1


@pytest.mark.parametrize(
    "line", [LINE, b"", b"12:00:00 " + LINE, b"2026-06-06 " + LINE, b"1780747200" + LINE, b"# note"]
)
def test_a_line_without_a_time_is_none(line: bytes) -> None:
    assert TimedLines().read(line) is None


def test_what_is_no_frame_is_heard_as_damaged_as_a_receiver_hears_it() -> None:
    lines = TimedLines()
    for text in (b"no frame at all", b"QA1BCD-9>APRS:" + b"x" * 5000):
        heard = lines.read(b"1780747200 " + text)
        assert heard is not None
        assert isinstance(heard.frame, Damaged)


@given(text_frames, st.integers(0, 99_999_999_999), st.booleans())
def test_every_frame_comes_back_octet_for_octet(frame: Frame, seconds: int, as_date: bool) -> None:
    time = rfc3339(min(seconds, 253_402_300_799) * 1000).encode() if as_date else b"%d" % seconds
    heard = TimedLines().read(time + b" " + tnc2.write(frame))
    assert heard is not None
    assert heard.frame == tnc2.read(tnc2.write(frame))


@given(st.binary(max_size=200))
def test_any_bytes_at_all_are_read_or_refused(line: bytes) -> None:
    for text in (line, b"1780747200 " + line, b"2026-06-06T12:00:00Z vhf " + line):
        with contextlib.suppress(TimedLineError):
            TimedLines().read(text)
