"""What the judge knows again after a restart: as much as if it had judged all of it itself."""

from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Moment
from gateway.judge.memory import JudgeMemory
from gateway.judge.verdict import Judged, Reason
from tests.judge.listening import Listening
from tests.remembering import budgets_of, dumped, restore

POLICY = (
    "duplicates: {window: 60s}\n"
    "rules: [{name: dull, when: {contains: dull}, then: keep}]\n"
    "rates: [{name: day, per: source, allow: 1 kB per day}, {name: all, per: everything, allow: 2 kB per month,"
    " when: {contains: lap}}]"
)
LINE = b"QA1BCD>APRS,QD1RPT*:>lap 1"
COPY = b"QA1BCD>APRS,QD2RPT*:>lap 1  "


def restarted(post: Listening, away: float, *, recalled: int = 0, judged: list[Judged] | None = None) -> Listening:
    """The judge after a restart: `away` seconds after elapsed 0, with the last frames heard again, not dumped."""
    after = Listening(POLICY)
    shift_ms = -round(away * 1000)
    memory = JudgeMemory(after.judge)
    restore(memory, dumped(JudgeMemory(post.judge)), shift_ms)
    for each in (judged or [])[-recalled:] if recalled else ():
        moment = Moment(each.heard.moment.elapsed_ms + shift_ms, each.heard.moment.time_ms)
        heard = type(each.heard)(each.heard.run, each.heard.sequence, moment, each.heard.receiver, 0, each.heard.frame)
        memory.recall(HeardPayload(replace(each, heard=heard)))
    return after


def test_a_copy_that_comes_after_the_restart_is_a_duplicate_within_the_window_and_no_longer() -> None:
    post = Listening(POLICY)
    post.hear(LINE, at=5)
    after = restarted(post, away=30)
    assert after.hear(COPY, at=34.9).verdict.reason is Reason.DUPLICATE
    assert after.hear(COPY, at=35).forward


def test_a_frame_that_was_heard_after_the_dump_is_as_well_known() -> None:
    post = Listening(POLICY)
    empty = Listening(POLICY)
    judged = [post.hear(LINE, at=5)]
    after = restarted(empty, 30, recalled=1, judged=judged)
    assert after.hear(COPY, at=34.9).verdict.reason is Reason.DUPLICATE
    assert budgets_of(after.judge) == budgets_of(post.judge)


def test_what_left_the_window_while_the_gateway_was_away_is_not_taken_in() -> None:
    post = Listening(POLICY)
    post.hear(LINE, at=5)
    assert len(restarted(post, away=3600).judge.recent) == 0


def test_only_what_goes_up_is_written_anew() -> None:
    post = Listening(POLICY)
    memory = JudgeMemory(post.judge)
    revisions = [memory.revision]
    for line in (LINE, COPY, b"QA1BCD>APRS:>dull", b"QA1BCD>APRS:>lap 2"):
        post.hear(line)
        revisions.append(memory.revision)
    assert revisions == [0, 1, 1, 1, 2]
    assert (memory.name, memory.version) == ("judge", 1)  # so journals have it: a new form is a new version


CALL = b"QC3DEF>APRS:!5836.00N/00354.00W>!EMERGENCY! lap"
RELAYED = b"QD1AA>APRS:}QC3DEF>APRS,QD1AA*:>lap 2"
_lines = st.sampled_from(
    [LINE, COPY, CALL, RELAYED, b"QA1BCD>APRS:>dull", b"QB2CDE>APRS:>afloat", b"QB2CDE>APRS:?APRS?"]
)


@given(st.lists(st.tuples(_lines, st.integers(0, 20_000)), max_size=12), st.integers(0, 12))
def test_heard_again_or_dumped_it_is_the_same(frames: list[tuple[bytes, int]], dumped_after: int) -> None:
    whole, begun = Listening(POLICY), Listening(POLICY)
    at, judged = 0.0, []
    for number, (line, passed_ms) in enumerate(frames):
        at += passed_ms / 1000
        judged.append(whole.hear(line, at))
        if number < dumped_after:
            begun.hear(line, at)
    left = max(0, len(frames) - dumped_after)
    by_dump = restarted(whole, at)
    by_recall = restarted(begun, at, recalled=left, judged=judged)
    assert budgets_of(by_recall.judge) == budgets_of(by_dump.judge) == budgets_of(whole.judge)
    for line in (LINE, b"QB2CDE>APRS:>afloat", b"QC3DEF>APRS:>lap 2"):
        for later in (0, 30, 59):
            expected = whole.hear(line, at + later).verdict
            assert by_dump.hear(line, later).verdict == by_recall.hear(line, later).verdict == expected
