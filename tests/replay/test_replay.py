"""A replay decides as the live gateway did, says where two policies part, and comes out the same every time."""

import random
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gateway.feed.heard_object import encode, heard_object
from gateway.frames.frame import Frame, damaged
from gateway.frames.plain import PlainObject
from gateway.judge.verdict import Reason
from gateway.replay.comparison import Group, Side
from gateway.replay.record import Record, record_of
from gateway.replay.replay import Replay
from tests.frames.strategies import any_frames
from tests.judge.listening import NOON_MS, source_of
from tests.replay.recording import LiveGateway, begun_anew, heard, read_back, records, replayed, verdicts, written

POLICY = """
duplicates: {window: 10s}
groups: {club: ["QB*"]}
rules:
  - {name: bench, when: {source: "QZ9*", receiver: hf}, then: keep}
  - {name: guests, when: {source: "@club", not: {report: message}, hours: "12:05-13:00"}, then: forward}
  - {name: far-test, when: {contains: test, hops: {at_least: 2}}, then: keep}
rates:
  - {name: one-station, allow: 3 per minute, burst: 2}
  - {name: receiver, per: receiver, allow: 40 per minute, reserve: {for: [message, weather], share: 25%}}
  - {name: all, per: everything, allow: 60 per minute}
  - {name: metered, per: everything, allow: 12 kB per day}
"""
OTHER_POLICY = "rates: [{name: one-station, allow: 2 per minute}]"

STATIONS = ("QA1BCD-9", "QB2CDE", "QB3DEF-1", "QZ9ZZZ", "QC4EFG-15", "N0CALL")
TEXTS = (
    b"!5836.00N/00355.00W>moored",
    b"!5836.0%dN/00355.00W>under way",
    b":QA1BCD-9 :hello{%d",
    b">test %d",
    b"_10090556c220s004g005t077r000p000P000h50b09900wRSW",
    b"?APRS?",
    b"}QD5FGH>APRS,QD1RPT*:>relayed %d",
    b"}QD5FGH>APRS,TCPIP*:>from the internet",
    b"caf\xe9 \x00\xff",
)
PATHS = (b"", b",QD1RPT*", b",QD1RPT,QD2RPT*,WIDE2-1", b",TCPIP*")


def busy_channel(chance: random.Random, frames: int) -> LiveGateway:
    """A live gateway with two receivers on a channel with bursts, copies, damage, restarts, and a day that turns."""
    live = LiveGateway(POLICY)
    last = b"QA1BCD-9>APRS:>first"
    for _ in range(frames):
        # A burst has no time between its frames; in between lie seconds, and once in a while hours.
        live.wait(chance.choice((0, 0, 0, 0.05, 1.2, 7, 31)) if chance.random() < 0.998 else 5 * 3600)
        if chance.random() > 0.3:
            text = chance.choice(TEXTS).replace(b"%d", b"%d" % chance.randrange(3))
            last = b"%b>APRS%b:%b" % (chance.choice(STATIONS).encode(), chance.choice(PATHS), text)
        receiver = chance.choice(("vhf", "hf"))
        if chance.random() < 0.02:
            live.hear(damaged("its check sequence is wrong", last), receiver)
        else:
            live.hear(last, receiver, chance.choice((0, 0, 3)))
        if chance.random() < 0.003:
            live.restart()
    return live


@pytest.mark.parametrize("draw", range(3))
def test_a_replay_decides_exactly_as_the_live_gateway_did(tmp_path: Path, draw: int) -> None:
    live = busy_channel(random.Random(draw), 2500)
    found, _ = read_back(written(tmp_path / "capture", live.lines()))
    replay, frames = replayed(found, live.source)
    assert [frame.judged for frame in frames] == live.judged
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.compared, agreement.agreed) == (2500, 2500)
    assert replay.order.runs > 1
    kinds = {judged.verdict.reason for judged in live.judged}
    assert kinds >= {None, Reason.DAMAGED, Reason.INTERNET_ORIGIN, Reason.DUPLICATE, Reason.RULE, Reason.OVER_RATE}
    rates = {judged.verdict.rule for judged in live.judged if judged.verdict.reason is Reason.OVER_RATE}
    assert {"one-station", "metered"} <= rates


def test_another_policy_at_each_start_is_compared_with_what_it_decided_itself(tmp_path: Path) -> None:
    live = LiveGateway(POLICY)
    first = live.source
    for policy in (OTHER_POLICY, POLICY):
        for number in range(200):
            live.hear(b"QA1BCD-9>APRS:>%d" % (number % 7), "vhf" if number % 3 else "hf")
            live.wait(0 if number % 10 else 12)
        live.restart(policy)
    found, _ = read_back(written(tmp_path / "capture", live.lines()))
    replay, _ = replayed(found, first, source_of(OTHER_POLICY))
    ours = replay.agreement[replay.policy.label]
    assert (ours.compared, ours.agreed, ours.otherwise) == (200, 200, 0)
    assert replay.against is not None
    theirs = replay.agreement[replay.against.label]
    assert (theirs.compared, theirs.agreed, theirs.otherwise) == (200, 200, 0)
    assert ours.by_others.greatest() == [(replay.against.label, 200)]


def test_a_reload_within_a_run_leaves_a_doubt_that_is_said() -> None:
    live = LiveGateway("rules: [{name: all, then: keep}]")
    live.hear(b"QA1BCD-9>APRS:>again")
    live.reload("")
    live.hear(b"QA1BCD-9>APRS:>again")
    replay, _ = replayed([Record(judged.heard, judged.verdict) for judged in live.judged], live.source)
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.compared, agreement.agreed, agreement.unsure, agreement.otherwise) == (1, 0, 1, 0)
    assert agreement.named[0].replayed.reason is Reason.DUPLICATE


def test_what_a_run_began_with_is_in_doubt_where_the_capture_does_not_say() -> None:
    live = LiveGateway()
    live.hear(b"QA1BCD-9>APRS:>moored")
    plain = heard_object(live.judged[0])
    plain.update(verdict="keep", reason="duplicate")
    replay, _ = replayed([record_of(plain)], live.source)
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.unsure, agreement.otherwise) == (1, 0)


def test_missing_frames_leave_a_doubt_that_is_said() -> None:
    live = LiveGateway()
    for _ in range(2):
        live.hear(b"QA1BCD-9>APRS:>again")
    replay, _ = replayed([Record(judged.heard, judged.verdict) for judged in live.judged[1:]], live.source)
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.unsure, agreement.otherwise) == (1, 0)
    assert agreement.named[0].live.reason is Reason.DUPLICATE
    assert agreement.named[0].replayed.reason is None


def test_what_was_decided_otherwise_though_nothing_is_missing_is_told() -> None:
    live = LiveGateway()
    live.hear(b"QA1BCD-9>APRS:>moored")
    plain = heard_object(live.judged[0])
    plain.update(verdict="keep", reason="rule", rule="no-such-rule")
    replay, _ = replayed([record_of(plain)], live.source, beginnings=begun_anew())
    agreement = replay.agreement[replay.policy.label]
    assert (agreement.unsure, agreement.otherwise) == (0, 1)
    assert agreement.to_object()["frames"] == [
        {
            "run": "run-1",
            "sequence": 1,
            "time": "2026-06-06T12:00:00.000Z",
            "live": "keep: rule, no-such-rule",
            "replayed": "forward",
        }
    ]


def test_two_replays_of_one_capture_agree_bit_for_bit(tmp_path: Path) -> None:
    live = busy_channel(random.Random(7), 2000)
    capture = written(tmp_path / "capture", live.lines())

    def once() -> tuple[list[bytes], PlainObject]:
        found, _ = read_back(capture)
        replay, frames = replayed(found, POLICY, OTHER_POLICY)
        decided = [encode(heard_object(frame.judged)) for frame in frames]
        against = [encode(heard_object(frame.against)) for frame in frames if frame.against]
        return decided + against, replay.to_object(10)

    assert once() == once()


def test_the_order_in_which_a_broker_delivers_changes_nothing(tmp_path: Path) -> None:
    live = busy_channel(random.Random(11), 1500)
    chance = random.Random(12)
    lines = live.lines()
    runs = {judged.heard.run for judged in live.judged}
    delivered: list[bytes] = []
    for run in sorted(runs, key=lambda name: int(name.partition("-")[2])):
        mine = [line for line, judged in zip(lines, live.judged, strict=True) if judged.heard.run == run]
        delivered += [
            line for _, line in sorted((place + chance.randint(0, 20), line) for place, line in enumerate(mine))
        ]
    assert delivered != lines
    found, _ = read_back(written(tmp_path / "capture", delivered))
    _, frames = replayed(found, live.source)
    assert [frame.judged for frame in frames] == live.judged


@settings(max_examples=50)
@given(st.lists(st.tuples(any_frames(), st.integers(0, 20_000)), max_size=20))
def test_frames_of_every_kind_are_judged_in_a_replay_as_they_were_live(heard_frames: list[tuple[Frame, int]]) -> None:
    live = LiveGateway(POLICY)
    for frame, wait_ms in heard_frames:
        live.wait(wait_ms / 1000)
        live.hear(frame)
    found = [record_of(heard_object(judged)) for judged in live.judged]
    _, frames = replayed(found, live.source)
    assert [frame.judged for frame in frames] == live.judged


BOAT, BUOY = b"QA1BCD-9>APRS:!5836.00N/00355.00W>%d", b"QB2CDE>APRS:>%d"


def test_the_difference_of_two_policies_is_exactly_right() -> None:
    capture = records(
        (0, BOAT % 1),  # both forward
        (5, BOAT % 2),  # the rate of the one keeps it
        (10, BUOY % 1),  # the rule of the other keeps it
        (15, BUOY % 2),  # kept by both: a rate of the one, the rule of the other
        (20, BOAT % 3),  # the rate again
        (25, b"QA1BCD-9>APRS,TCPIP*:>no"),  # kept by both, as it must be
        (50, BOAT % 1),  # a copy for the other, whose window is a minute; over the rate of the one
        (3700, BOAT % 1),  # both forward
    )
    replay, frames = replayed(
        capture,
        "rates: [{name: calm, allow: 1 per hour}]",
        "duplicates: {window: 60s}\nrules: [{name: no-buoy, when: {source: QB2CDE}, then: keep}]",
    )
    assert [frame.record.heard.sequence for frame in frames if frame.differs] == [2, 3, 5]
    difference = replay.difference
    assert difference.frames == {Side.POLICY: 1, Side.AGAINST: 2}
    octets = {Side.POLICY: len(BUOY % 1), Side.AGAINST: len(BOAT % 2) + len(BOAT % 3)}
    lines = {Side.POLICY: 1, Side.AGAINST: 2}
    added = len(b",qAO,QX1GAT-10\r\n")
    assert difference.octets == {side: octets[side] + lines[side] * added for side in Side}
    assert difference.other_reason == 2
    assert difference.groups.greatest() == [
        (Group(Side.AGAINST, "QA1BCD-9", Reason.OVER_RATE, "calm"), 2),
        (Group(Side.POLICY, "QB2CDE", Reason.RULE, "no-buoy"), 1),
    ]
    assert difference.to_object(1)["frames_in_other_groups"] == 1


def test_a_policy_against_itself_differs_in_nothing() -> None:
    live = busy_channel(random.Random(3), 500)
    found = [Record(judged.heard, judged.verdict) for judged in live.judged]
    replay, frames = replayed(found, POLICY, POLICY)
    assert not any(frame.differs for frame in frames)
    assert replay.difference.other_reason == 0
    assert len(replay.agreement) == 1


def test_the_span_knows_when_and_by_whom_frames_were_heard() -> None:
    replay, _ = replayed(
        [
            Record(heard(BOAT % 1, 60, sequence=1, receiver="hf")),
            Record(heard(BOAT % 2, 10, sequence=2)),
            Record(heard(BOAT % 3, 90, sequence=3)),
        ]
    )
    assert (replay.span.first_ms, replay.span.last_ms) == (NOON_MS + 10_000, NOON_MS + 90_000)
    assert dict(replay.span.receivers.greatest()) == {"vhf": 2, "hf": 1}


def test_nothing_heard_is_no_error() -> None:
    replay, frames = replayed([], "", "")
    assert frames == []
    assert isinstance(replay, Replay)
    assert replay.to_object(5)["heard"] == {"frames": 0, "first": None, "last": None, "receivers": {}}


def test_verdicts_of_a_restarted_gateway_are_told_by_run() -> None:
    live = LiveGateway()
    live.hear(BOAT % 1)
    live.restart()
    live.hear(BOAT % 1)
    _, frames = replayed([Record(judged.heard) for judged in live.judged])
    assert list(verdicts(frames)) == [("run-1", 1, "forward", None), ("run-2", 1, "forward", None)]
