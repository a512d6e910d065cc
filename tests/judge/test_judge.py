"""The judge as a whole: pure, bounded, and never passing on what the network's rules keep."""

import json
import random
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.frames import ax25, tnc2
from gateway.frames.fcs import strip_fcs
from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Heard, Moment
from gateway.frames.kiss import KissDecoder, encode
from gateway.frames.network_line import network_line, route
from gateway.frames.plain import PlainFormError, from_object, to_object
from gateway.frames.third_party import unwrap
from gateway.frames.tnc2 import LineDecoder
from gateway.judge import duplicates, rates
from gateway.judge import judge as judge_module
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.explanation import explain
from gateway.judge.judge import MAXIMUM_STANDINGS, Judge
from gateway.judge.network_rules import NETWORK_RULES, first_broken
from gateway.judge.policy import Policy
from gateway.judge.verdict import Decision, Judged, Reason, Verdict
from tests.check_sequence import append_fcs
from tests.judge import strategies
from tests.judge.listening import NOON_MS, POST, Listening, source_of

TREE = Path(__file__).parent.parent.parent
ADDED = route(POST.callsign)


def verdicts(policy: CompiledPolicy, stream: list[Heard]) -> list[Verdict]:
    judge = Judge(policy)
    return [judge.judge(heard).verdict for heard in stream]


# Purity.


@given(strategies.policies, strategies.streams())
@settings(max_examples=40)
def test_the_same_stream_gives_the_same_verdicts(policy: CompiledPolicy, stream: list[Heard]) -> None:
    assert verdicts(policy, stream) == verdicts(policy, stream)


@given(strategies.policies, strategies.streams(), strategies.streams())
@settings(max_examples=40)
def test_two_judges_of_one_policy_share_nothing(
    policy: CompiledPolicy, stream: list[Heard], other: list[Heard]
) -> None:
    alone = verdicts(policy, stream)
    judge, beside = Judge(policy), Judge(policy)
    said = []
    for place, heard in enumerate(stream):
        for noise in other[place : place + 1]:
            beside.judge(noise)
        said.append(judge.judge(heard).verdict)
    assert said == alone


@given(strategies.policies, strategies.streams())
@settings(max_examples=40)
def test_the_judge_reads_no_clock(policy: CompiledPolicy, stream: list[Heard]) -> None:
    def no_clock() -> float:
        raise AssertionError("the judge read a clock")

    with pytest.MonkeyPatch.context() as patch:
        for clock in ("time", "monotonic", "perf_counter", "time_ns", "monotonic_ns"):
            patch.setattr(time, clock, no_clock)
        judge = Judge(policy)
        said = [judge.judge(heard).verdict for heard in stream]
        del judge
    assert said == verdicts(policy, stream)


REPLAYED = """
import hashlib, random
from gateway.frames import tnc2
from gateway.frames.heard import Heard, Moment
from tests.judge.listening import judge_of
judge = judge_of('''
groups: {club: ["QA1*", "Q?2*", "*-9"]}
rules:
  - {name: held, when: {source: ["@club", "QA1*", "*-1"], via: ["QD*", "*A"], not: {report: message}}, then: keep}
  - {name: passed, when: {via: ["QD1*", "*B"]}, then: forward}
rates:
  - {name: each, per: source, allow: 7 per minute, burst: 2}
  - {name: all, per: everything, allow: 60 per minute, reserve: {for: message, share: 30%}}
  - {name: plan, per: receiver, allow: 20 kB per day}
''')
chance, elapsed_ms, said = random.Random(7), 0, hashlib.sha256()
for sequence in range(1000):
    elapsed_ms += chance.randrange(2000)
    line = f"Q{chance.choice('ABC')}{chance.randrange(3)}X-{chance.randrange(12)}>APRS,QD1A{chance.choice('AB')}*:"
    line += chance.choice([">x", ":QB2CDE   :hello", "!5836.00N/00355.00W>"]) + str(chance.randrange(40))
    heard = Heard("run", sequence, Moment(elapsed_ms, 1780747200000 + elapsed_ms), "vhf", 0, tnc2.read(line.encode()))
    said.update(repr(judge.judge(heard).verdict).encode())
print(said.hexdigest())
"""


def test_processes_agree_bit_for_bit_though_each_draws_its_own_hashes() -> None:
    said = {
        subprocess.run(
            [sys.executable, "-E", "-c", REPLAYED],  # -E: no setting of the environment fixes the hashes of strings
            cwd=TREE,
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for _ in range(3)
    }
    assert len(said) == 1


# The network's rules.


def broken(frame: Frame | Damaged) -> Reason | None:
    """What the table of rules says, asked row by row."""
    if isinstance(frame, Damaged):
        return Reason.DAMAGED
    return first_broken(NETWORK_RULES, unwrap(frame), ADDED)


@given(strategies.policies, strategies.streams())
def test_no_policy_forwards_what_the_networks_rules_keep(policy: CompiledPolicy, stream: list[Heard]) -> None:
    for heard, verdict in zip(stream, verdicts(policy, stream), strict=True):
        reason = broken(heard.frame)
        if reason is None:
            assert verdict.reason not in strategies.NETWORK_REASONS
        else:
            assert (verdict.decision, verdict.reason, verdict.rule) == (Decision.KEEP, reason, None)


@given(strategies.frames, strategies.frames, strategies.receivers)
@settings(max_examples=200)
def test_the_short_way_of_the_judge_agrees_with_the_table_of_rules(first: Frame, frame: Frame, receiver: str) -> None:
    judge = Judge(CompiledPolicy(Policy(version=1, name="empty"), "000000", POST))
    for sequence, one in enumerate((first, frame, frame), 1):  # the third finds its header remembered
        judged = judge.judge(Heard("test", sequence, Moment(sequence * 40_000, NOON_MS), receiver, 0, one))
        assert judged.verdict.reason == broken(one)
        assert judged.innermost == unwrap(one).innermost
        assert judged.forward is (judged.verdict.reason is None)


@given(strategies.policies, strategies.streams())
def test_the_explanation_decides_as_the_judge_does(policy: CompiledPolicy, stream: list[Heard]) -> None:
    judge, explained = Judge(policy), Judge(policy)
    for heard in stream:
        judged, explanation = judge.judge(heard), explain(explained, heard)
        assert explanation.judged == judged
        assert_explained(judged, [str(step.step) for step in explanation.steps if step.decided])
        assert not any(step.decided for step in explanation.steps[:-1])


def assert_explained(judged: Judged, deciding: list[str]) -> None:
    verdict = judged.verdict
    if verdict.decision is Decision.FORWARD:
        assert deciding == (["emergency"] if judged.emergency else [])
    elif verdict.reason is Reason.RULE:
        assert deciding == [f"rule {verdict.rule}"]
    elif verdict.reason is Reason.OVER_RATE:
        assert deciding == [f"rate {verdict.rule}"]
    else:
        assert deciding == [verdict.reason]


@given(strategies.policies, strategies.streams())
@settings(max_examples=60)
def test_no_policy_keeps_an_emergency(policy: CompiledPolicy, stream: list[Heard]) -> None:
    judge = Judge(policy)
    for heard in stream:
        judged = judge.judge(heard)
        if judged.emergency:
            assert judged.verdict.reason not in {Reason.RULE, Reason.OVER_RATE}


# Nothing invalid goes up. What a line must be is written here anew, from the pages of the network.

_CALLSIGN = rb"(?=[0-9A-Za-z-]{1,9}[>,*:])[0-9A-Za-z]+(?:-(?!0[>,*:])[0-9A-Za-z]{1,2})?"
_PROPER = re.compile(
    # IS-Connect, IS-Server: callsigns of 1-9 letters and digits, one hyphen, SSID of 1-2; common practice: no SSID 0.
    _CALLSIGN + rb">" + _CALLSIGN + rb"(?:," + _CALLSIGN + rb"\*?)*"
    rb",qAO,QX1GAT-10:"  # IS-Details: a gateway that cannot transmit
    rb"[^?}\r\n][^\r\n]*\r\n\Z",  # IS-Details: no generic query, no third-party header left
    re.DOTALL,
)
_LONGEST = 512  # IS-Connect
_WRONG = (
    (re.compile(rb"[^:]*,qA[A-Za-z]\*?,.*qAO,QX1GAT-10:", re.DOTALL), "a q construct in its path"),  # IS-Details, IS-Q
    (re.compile(rb"[^:]*,(?:TCPIP|TCPXX|NOGATE|RFONLY)(?:-..?)?\*?,", re.IGNORECASE), "what stands in its path"),
    (re.compile(rb"[^:]*\*[^:]*\*[^:]*:"), "two repeaters starred"),  # common practice
    (re.compile(rb"(?:NOCALL|N0CALL|MYCALL)(?:-..?)?>", re.IGNORECASE), "its source is nobody"),  # common practice
)


def what_is_wrong_with(line: bytes) -> str | None:
    """Why the network should not have been sent this line; None where nothing is."""
    if _PROPER.match(line) is None:
        return "its form"
    if len(line) > _LONGEST:
        return "its length"
    return next((said for wrong, said in _WRONG if wrong.match(line)), None)


@pytest.mark.parametrize(
    ("line", "wrong"),
    [
        (b"QA1BCD-9>APRS,QD1AA*,WIDE2-1,qAO,QX1GAT-10:!5836.00N/00355.00W>\r\n", None),
        (b"QA1BCD-9>APRS,qAO,QX1GAT-10:x\r\n", None),
        (b"QA1BCD-9>APRS,QAR,qAO,QX1GAT-10:caf\xe9\x00\r\n", None),
        (b"QA1BCD-0>APRS,qAO,QX1GAT-10:x\r\n", "its form"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:\r\n", "its form"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:?x\r\n", "its form"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:}Q>A:x\r\n", "its form"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:x\ry\r\n", "its form"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:x\n", "its form"),
        (b"QA1BCD>APRS,qAR,QX1GAT-10:x\r\n", "its form"),
        (b"TOOLONGCALL>APRS,qAO,QX1GAT-10:x\r\n", "its form"),
        (b"QA1BCD>APRS,qAC,qAO,QX1GAT-10:x\r\n", "a q construct in its path"),
        (b"QA1BCD>APRS,tcpip*,qAO,QX1GAT-10:x\r\n", "what stands in its path"),
        (b"QA1BCD>APRS,NOGATE,qAO,QX1GAT-10:x\r\n", "what stands in its path"),
        (b"QA1BCD>APRS,A*,B*,qAO,QX1GAT-10:x\r\n", "two repeaters starred"),
        (b"N0CALL-1>APRS,qAO,QX1GAT-10:x\r\n", "its source is nobody"),
        (b"QA1BCD>APRS,qAO,QX1GAT-10:" + b"x" * 490 + b"\r\n", "its length"),
    ],
)
def test_the_checker_of_this_test_knows_good_from_bad(line: bytes, wrong: str | None) -> None:
    assert what_is_wrong_with(line) == wrong


INPUTS = 50_000
"""For each of four parsers."""

USED = Repeater("QD1AA", used=True)
GOOD = [
    Frame(Header("QA1BCD-9", "APRS", (USED, Repeater("WIDE2-1"))), b"!5836.00N/00355.00W>088/036/A=000012 hello"),
    Frame(Header("QB2CDE", "332564", (USED,)), b'`(_fn"Oj/ on the water'),  # ours, after APRS101 chapter 10
    Frame(Header("QX9GAT", "APRS"), b"}QA1BCD-9>APRS,QNET*:}QB2CDE>APRS,QD1AA*:>inside"),
    Frame(Header("QC3DEF-15", "APZ001"), b":QB2CDE   :?APRSP"),
    Frame(Header("QC3DEF", "APRS"), b"x" * 470),
]
SPLICES = [
    b"TCPIP", b",TCPIP*", b",NOGATE", b",qAR,Q", b"N0CALL>", b"?", b"}", b"\r", b"\n", b"\r\nQ>A:x", b":", b">", b",",
    b"*", b"-0", b"-16", b"\x00", b"\xff", b"\xc0", b"\xdb", b"\x03\xf0", b"x" * 60,
]  # fmt: skip


def inputs(chance: random.Random, good: list[bytes]) -> Iterator[bytes]:
    """Some random, most of them good ones that were changed: those reach deepest."""
    for number in range(INPUTS):
        if number % 8 == 0:
            yield chance.randbytes(chance.randrange(60))
            continue
        octets = bytearray(chance.choice(good))
        for _ in range(chance.randrange(3)):
            place = chance.randrange(len(octets) + 1)
            if number % 2:
                octets[place : place + chance.randrange(3)] = chance.choice(SPLICES)
            else:
                octets[place : place + 1] = bytes((chance.randrange(256),))
        yield bytes(octets)


def by_kiss(chance: random.Random) -> Iterator[Frame | Damaged]:
    decoder = KissDecoder()
    for data in inputs(chance, [encode(ax25.write(frame)) for frame in GOOD]):
        for _, octets in decoder.feed(data + b"\xc0"):
            yield octets if isinstance(octets, Damaged) else ax25.read(octets)


def by_lines(chance: random.Random) -> Iterator[Frame | Damaged]:
    decoder = LineDecoder()
    for data in inputs(chance, [tnc2.write(frame) for frame in GOOD]):
        for line in decoder.feed(data + b"\n"):
            yield line if isinstance(line, Damaged) else tnc2.read(line)


def by_datagrams(chance: random.Random) -> Iterator[Frame | Damaged]:
    """Changed before the check sequence is added: it would keep nearly all of the others out."""
    for data in inputs(chance, [ax25.write(frame) for frame in GOOD]):
        body = strip_fcs(append_fcs(data))
        if body is not None:
            yield ax25.read(body)


def by_captures(chance: random.Random) -> Iterator[Frame | Damaged]:
    good = [
        json.dumps(to_object(Heard("run", 1, Moment(1, NOON_MS), "vhf", 0, frame), unwrap(frame).innermost)).encode()
        for frame in GOOD
    ]
    for data in inputs(chance, good):
        try:
            yield from_object(json.loads(data)).frame
        except (PlainFormError, ValueError, TypeError):
            continue


@pytest.mark.parametrize("parser", [by_kiss, by_lines, by_datagrams, by_captures])
def test_nothing_invalid_goes_up_whatever_bytes_come_in(
    parser: Callable[[random.Random], Iterator[Frame | Damaged]],
) -> None:
    chance = random.Random(2026)
    judge = Judge(CompiledPolicy(Policy(version=1, name="empty"), "000000", POST))
    kept: set[Reason | None] = set()
    forwarded = 0
    for sequence, frame in enumerate(parser(chance), 1):
        judged = judge.judge(Heard("test", sequence, Moment(sequence * 10_000, NOON_MS), "vhf", 0, frame))
        kept.add(judged.verdict.reason)
        if judged.forward:
            assert judged.innermost is not None
            line = network_line(judged.innermost, ADDED)
            assert what_is_wrong_with(line) is None, line
            forwarded += 1
    assert forwarded > INPUTS // 20
    assert len(kept) >= 8  # most of the rules were needed


# Bounds.


def flood(post: Listening, frames: int) -> None:
    """Frames each from another source by another path, all of which may go up."""
    for number in range(frames):
        post.hear(b"Q%06X>APRS,R%05X*:>%d" % (number, number, number), number / 1000)


def test_memory_is_bounded_whatever_is_heard(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(judge_module, "MAXIMUM_STANDINGS", 64)
    monkeypatch.setattr(duplicates, "MAXIMUM_REMEMBERED", 256)
    monkeypatch.setattr(rates, "MAXIMUM_BUCKETS", 128)
    post = Listening("rates: [{name: slow, allow: 1 per day}, {name: plan, allow: 1 MB per day}]")
    for _ in range(3):
        flood(post, 1000)
        judge = post.judge
        assert len(judge._standings) + len(judge._older_standings) <= 64  # noqa: SLF001 - what is bounded is inside
        assert len(judge.recent) <= 256
        assert all(len(limit.buckets or limit.budget or ()) <= 129 for limit in judge.limits)


def test_a_flood_of_headers_changes_no_verdict() -> None:
    lines = [b"QA1BCD>APRS:>x%d", b"QA1BCD>APRS,NOGATE:>x%d", b"QB2CDE>APRS:>x%d"]
    policy = "rules: [{name: held, when: {source: QB2*}, then: keep}]"
    calm, flooded = Listening(policy), Listening(policy)
    before = [calm.hear(line % 1).verdict for line in lines] + [calm.hear(line % 2).verdict for line in lines]
    after = [flooded.hear(line % 1).verdict for line in lines]
    for number in range(MAXIMUM_STANDINGS + 10):
        flooded.hear(b"N%06X>APRS,NOGATE:>x" % number)
    assert after + [flooded.hear(line % 2).verdict for line in lines] == before


# Reload.


def replace(post: Listening, policy: str, at: float) -> None:
    post.judge.replace(source_of(policy).compiled(POST), round(at * 1000))


def test_a_new_policy_judges_from_the_next_frame_on() -> None:
    post = Listening()
    assert post.hear(b"QA1BCD>APRS:>1", 0).forward
    former = post.judge.policy.label
    replace(post, "rules: [{name: held, when: {source: QA1*}, then: keep}]", 1)
    judged = post.hear(b"QA1BCD>APRS:>2", 2)
    assert (judged.verdict.reason, judged.verdict.rule) == (Reason.RULE, "held")
    assert judged.verdict.policy == post.judge.policy.label != former
    replace(post, "", 3)
    assert post.hear(b"QA1BCD>APRS:>3", 4).forward


def test_what_went_up_before_a_reload_is_still_known() -> None:
    post = Listening()
    assert post.hear(b"QA1BCD>APRS:>x", 0).forward
    replace(post, "# changed", 10)
    assert post.hear(b"QA1BCD>APRS:>x", 29).verdict.reason is Reason.DUPLICATE
    assert post.hear(b"QA1BCD>APRS:>x", 30).forward


def test_the_window_of_the_new_policy_counts_at_once() -> None:
    post = Listening()
    post.hear(b"QA1BCD>APRS:>x", 0)
    replace(post, "duplicates: {window: 5s}", 4)
    assert post.hear(b"QA1BCD>APRS:>x", 4.999).verdict.reason is Reason.DUPLICATE
    assert post.hear(b"QA1BCD>APRS:>x", 5).forward
    replace(post, "duplicates: {window: 60s}", 6)
    assert post.hear(b"QA1BCD>APRS:>x", 64.999).verdict.reason is Reason.DUPLICATE


@given(strategies.policies, strategies.streams(), st.data())
def test_a_reload_of_the_same_policy_changes_no_verdict(
    policy: CompiledPolicy, stream: list[Heard], data: st.DataObject
) -> None:
    # A share of a rate is reckoned anew after a reload, so only rates that one source has to itself are the same.
    if any(rate.rate.per != "source" for rate in policy.rates):
        return
    at = data.draw(st.integers(0, len(stream)))
    judge = Judge(policy)
    said = []
    for place, heard in enumerate(stream):
        if place == at:
            judge.replace(policy, heard.moment.elapsed_ms)
        said.append(judge.judge(heard).verdict)
    assert said == verdicts(policy, stream)
