"""The words of a replay: nothing from a capture reaches a terminal as it is."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.commands import replay_words
from gateway.judge.verdict import Decision, Reason, Verdict
from gateway.replay.record import Reading, Record
from tests.replay.recording import heard, replayed

HOSTILE = "\x1b]0;owned\x07\u202e\r\n"


@given(st.text())
def test_whatever_a_capture_says_is_shown_in_one_short_printable_line(text: str) -> None:
    shown = replay_words.escaped(text)
    assert shown.isprintable()
    assert len(shown) <= 10 * replay_words.LONGEST_TEXT


@pytest.mark.parametrize("text", ["vhf", "run-1", "receive-only@3fa9c1", "Küste"])
def test_plain_words_are_shown_as_they_are(text: str) -> None:
    assert replay_words.escaped(text) == text


def test_names_of_runs_receivers_rules_and_policies_are_escaped() -> None:
    live = Verdict(Decision.KEEP, "test@88a8ba", Reason.RULE, HOSTILE)
    others = Verdict(Decision.FORWARD, HOSTILE)
    of = [
        Record(heard(b"QA1BCD>APRS:>x", sequence=5, run=HOSTILE, receiver=HOSTILE), live),
        Record(heard(b"QA1BCD>APRS:>y", sequence=9, run=HOSTILE, receiver=HOSTILE), others),
    ]
    replay, _ = replayed(of)
    replay.agreement = {each.label: each for each in replay.agreement.values()}
    told = replay_words.summary(replay, Reading(), 5)
    assert "owned" in told
    for line in told.splitlines():
        assert line.isprintable()
