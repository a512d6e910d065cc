"""What an emergency is: one property of a judged frame, whatever becomes of it.

Frames are ours, after APRS101 chapter 10: a Mic-E destination that begins with three digits says the message bits 000,
an emergency.
APRS12 (from memory): !EMERGENCY! in the comment of a station's own position is one, too.
"""

import pytest
from hypothesis import given, settings

from gateway.frames.frame import Frame
from gateway.frames.header import Header
from gateway.frames.heard import Heard
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.judge import Judge
from gateway.judge.verdict import Reason
from gateway.reports import read
from tests.judge import strategies
from tests.judge.listening import Listening

EMERGENCY = b'QA1BCD-9>332564:`(_fn"Oj/help'
CALM = b'QA1BCD-9>S32U6T:`(_fn"Oj/going home'


def test_who_calls_for_help_is_read_from_the_frame_inside() -> None:
    post = Listening()
    assert post.hear(b"QD1AA>APRS:}" + EMERGENCY).emergency
    assert post.hear(b"QD1AA>APRS:}QD1BB>APRS:}" + EMERGENCY, at=40).emergency


def test_the_headers_around_it_call_for_nothing() -> None:
    post = Listening()
    assert not post.hear(b"QD1AA>332564:}" + CALM).emergency
    assert not post.hear(b"QD1AA>332564:}QD1BB>332564:}" + CALM, at=40).emergency


@pytest.mark.parametrize(
    ("frame", "reason"),
    [
        (Frame(Header("QA1BCD-9", "332564"), b'`(_fn"Oj/', 0x13), Reason.NOT_UI),
        (Frame(Header("QA1BCD-9", "332564"), b'`(_fn"Oj/', 0x03, 0xCF), Reason.WRONG_PID),
        (b'QA1-B-C>332564:`(_fn"Oj/', Reason.BAD_CALLSIGN),
        (b'N0CALL>332564:`(_fn"Oj/', Reason.PLACEHOLDER_CALLSIGN),
        (b'QA1BCD-9>332564,qAR,QX2GAT:`(_fn"Oj/', Reason.Q_CONSTRUCT_ON_AIR),
        (b'QA1BCD-9>332564,TCPIP*:`(_fn"Oj/', Reason.INTERNET_ORIGIN),
        (b'QA1BCD-9>332564,RFONLY:`(_fn"Oj/', Reason.ASKED_NOT_TO_GATE),
        (b'QD1AA>APRS,NOGATE:}QA1BCD-9>332564:`(_fn"Oj/', Reason.ASKED_NOT_TO_GATE),
        (b'QD1AA>APRS:}QA1BCD-9>332564,TCPIP*:`(_fn"Oj/', Reason.THIRD_PARTY_INTERNET),
        (b'QA1BCD-9>332564:`(_fn"Oj/' + b"x" * 500, Reason.TOO_LONG),
    ],
)
def test_an_emergency_is_one_whichever_of_the_networks_rules_keeps_it(frame: bytes | Frame, reason: Reason) -> None:
    judged = Listening().hear(frame)
    assert judged.verdict.reason is reason
    assert judged.emergency
    assert judged.counts_as_emergency


def test_a_copy_is_an_emergency_too_and_no_further_one() -> None:
    post = Listening()
    assert post.hear(EMERGENCY).counts_as_emergency
    copy = post.hear(EMERGENCY.replace(b":", b",QD1AA*:", 1), at=1)
    assert (copy.verdict.reason, copy.emergency, copy.counts_as_emergency) == (Reason.DUPLICATE, True, False)
    assert post.hear(EMERGENCY, at=30).counts_as_emergency


def test_no_rule_rate_or_budget_holds_an_emergency_back_and_it_takes_nothing_from_them() -> None:
    post = Listening(
        "rules: [{name: none, when: {source: QA1*}, then: keep}]\n"
        "rates: [{name: few, per: everything, allow: 1 per day}, {name: plan, per: everything, allow: 1 kB per day}]"
    )
    for second in range(0, 1500, 30):  # 50 lines, about 2 kB
        assert post.hear(EMERGENCY, at=second).forward
    assert post.hear(EMERGENCY.replace(b"QA1", b"QB1").replace(b"332564", b"S32U6T"), at=1500).forward
    assert post.hear(CALM, at=1501).verdict.reason is Reason.RULE


def test_the_mark_in_the_comment_of_a_position_is_one_as_far_as_it_would_go_up() -> None:
    post = Listening("rules: [{name: none, then: keep}]")
    marked = post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>!EMERGENCY! taking water")
    assert (marked.emergency, marked.forward) == (True, True)
    assert not post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>dry\r!EMERGENCY!").emergency


def test_noise_is_no_emergency() -> None:
    assert not Listening().hear(b'no header `(_fn"Oj/').emergency


@given(strategies.policies, strategies.streams())
@settings(max_examples=60)
def test_the_property_agrees_with_the_report_whatever_the_verdict(policy: CompiledPolicy, stream: list[Heard]) -> None:
    judge = Judge(policy)
    for heard in stream:
        judged = judge.judge(heard)
        innermost = judged.innermost
        if innermost is None:
            assert not judged.emergency
        else:
            information = innermost.information.splitlines()[0] if innermost.information.strip(b"\r\n") else b""
            assert judged.emergency == read(innermost.destination, information).is_emergency
