"""Two judges in the same state judge alike: what a hub of a club starts from, held to the judge that wrote it."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from gateway.frames import tnc2
from gateway.frames.heard import Heard, Moment, Place
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.source import PolicyText, read_policy
from gateway.judge.state import JudgeState

POLICY = """
version: 1
name: all-kinds
rules:
  - {name: far, when: {distance: {beyond: 40km}}, then: keep}
rates:
  - {name: one-station, per: source, allow: 3 per minute}
  - {name: everyone, per: everything, allow: 8 per minute, reserve: {for: [message], share: 25%}}
  - {name: metered, per: everything, allow: 2 kB per day}
"""
COMPILED = read_policy(PolicyText("all-kinds.yaml", POLICY), lambda *_: PolicyText("", "")).compiled(Post("QX1GAT-10"))

frames = st.builds(
    lambda source, text, receiver, step, place: (f"QA{source}BCD>APRS:{text}".encode(), receiver, step, place),
    st.integers(0, 5),
    st.sampled_from([">a", ">b ", ">c", "!5836.00N/00355.00W-", ":QB2CDE   :hello", "?APRS?"]),
    st.sampled_from(["headland/vhf", "harbour/vhf"]),
    st.integers(0, 40_000),
    st.sampled_from([None, Place(58.6, -3.9167), Place(59.6, -3.9167)]),
)


def heard(frame: tuple[bytes, str, int, Place | None], sequence: int, elapsed_ms: int) -> Heard:
    line, receiver, _, place = frame
    return Heard(
        "run", sequence, Moment(elapsed_ms, 1_780_747_200_000 + elapsed_ms), receiver, 0, tnc2.read(line), place
    )


@settings(max_examples=200)
@given(st.lists(frames, max_size=80), st.integers(0, 80))
def test_a_judge_that_takes_over_a_state_judges_on_as_the_other_does(
    stream: list[tuple[bytes, str, int, Place | None]], cut: int
) -> None:
    first, second = Judge(COMPILED), Judge(COMPILED)
    elapsed_ms = 0
    for sequence, frame in enumerate(stream, 1):
        elapsed_ms += frame[2]
        judged = first.judge(heard(frame, sequence, elapsed_ms))
        if sequence == cut:
            second.resume(JudgeState.model_validate_json(first.state().model_dump_json()))
        elif sequence > cut > 0:
            assert second.judge(heard(frame, sequence, elapsed_ms)).verdict == judged.verdict
    if 0 < cut <= len(stream):
        assert second.state() == first.state()


def test_distance_is_from_the_post_that_heard() -> None:
    line = b"QA1BCD>APRS:!5836.00N/00355.00W-"
    near, far = Place(58.6, -3.9167), Place(59.6, -3.9167)
    assert Judge(COMPILED).judge(heard((line, "headland/vhf", 0, near), 1, 0)).forward
    assert Judge(COMPILED).judge(heard((line, "headland/vhf", 0, far), 1, 0)).verdict.rule == "far"


@pytest.mark.parametrize("octets", [b"", b"{}", b'{"duplicates": {}, "limits": []}', b"[" * 100_000])
def test_what_is_no_state_is_refused(octets: bytes) -> None:
    with pytest.raises(ValidationError):
        JudgeState.model_validate_json(octets)
