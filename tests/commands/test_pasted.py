from hypothesis import given
from hypothesis import strategies as st

from gateway.commands.pasted import PastedFrames
from gateway.frames.frame import Damaged, Frame
from tests.judged_frames import NOON_MS

LINE = b"QA1BCD-9>APRS,QD1AA*:>under way"


@given(st.lists(st.binary(max_size=100) | st.binary(max_size=40).map(lambda end: b"{" + end), max_size=5))
def test_whatever_is_pasted_is_a_frame_or_a_damaged_one_and_time_never_goes_back(lines: list[bytes]) -> None:
    pasted = PastedFrames("vhf", NOON_MS)
    heard = [pasted.read(line) for line in lines]
    assert [one.sequence for one in heard] == list(range(1, len(lines) + 1))
    elapsed = [one.moment.elapsed_ms for one in heard]
    assert elapsed == sorted(elapsed)


def test_a_line_is_heard_by_whom_and_when_it_says() -> None:
    pasted = PastedFrames("vhf", NOON_MS)
    plain = pasted.read(LINE)
    assert (plain.receiver, plain.moment.time_ms) == ("vhf", NOON_MS)
    later = pasted.read(b"2026-06-07T12:00:00Z hf " + LINE)
    assert (later.receiver, later.moment.time_ms - NOON_MS) == ("hf", 86_400_000)
    last = pasted.read(b"2026-06-07T12:00:09Z " + LINE)
    assert (last.receiver, last.moment.elapsed_ms) == ("vhf", 9_000)
    assert {one.frame for one in (plain, later, last)} == {plain.frame}
    assert isinstance(plain.frame, Frame)


def test_what_is_no_heard_object_is_damaged_and_says_why_in_words_of_ours() -> None:
    frame = PastedFrames("vhf", NOON_MS).read(b'{"run": "\x1b[31m"}').frame
    assert isinstance(frame, Damaged)
    assert "\x1b" not in frame.because
