"""A policy in a replay: memories that begin with each run, budgets that do not, and the sums of what was decided."""

from gateway.judge.verdict import Reason
from gateway.replay.contender import BusiestMinute, Contender, RunJudge
from tests.judge.listening import NOON_MS, POST, source_of
from tests.replay.recording import heard

BEACON = b"QA1BCD-9>APRS:>still here"
LINE_OCTETS = len(b"QA1BCD-9>APRS,qAO,QX1GAT-10:>still here\r\n")
MIC_E_EMERGENCY = b'QE1SOS>335206:`(_fn"Oj/'
"""Ours, after APRS101 chapter 10: digits alone in the destination are the message bits 000, an emergency."""


def contender(policy: str = "") -> Contender:
    return Contender("policy.yaml", source_of(policy).compiled(POST))


def test_duplicates_are_forgotten_when_a_run_ends() -> None:
    judge = RunJudge(source_of("").compiled(POST))
    assert judge.judge(heard(BEACON, 0)).forward
    assert not judge.judge(heard(BEACON, 5)).forward
    assert judge.judge(heard(BEACON, 6, run="second")).forward
    assert not judge.judge(heard(BEACON, 7, run="second")).forward


def test_rates_begin_anew_with_a_run() -> None:
    judge = RunJudge(source_of("rates: [{name: one, allow: 1 per day}]").compiled(POST))
    assert [judge.judge(heard(b"QA1BCD-9>APRS:>%d" % number, number)).forward for number in range(3)] == [
        True,
        False,
        False,
    ]
    assert judge.judge(heard(BEACON, 4, run="second")).forward


def test_budgets_go_on_through_the_runs() -> None:
    judge = RunJudge(source_of("rates: [{name: cap, per: everything, allow: 1 kB per day}]").compiled(POST))
    forwarded = [judge.judge(heard(BEACON, 40 * number, run=f"run {number // 5}")).forward for number in range(40)]
    fit = 1000 // LINE_OCTETS
    assert forwarded == [True] * fit + [False] * (40 - fit)


def test_runs_side_by_side_have_memories_of_their_own() -> None:
    judge = RunJudge(source_of("").compiled(POST))
    seen = [judge.judge(heard(BEACON, at, run=run)).forward for at, run in enumerate("abab")]
    assert seen == [True, True, False, False]


def test_a_tally_adds_up() -> None:
    policy = contender(
        "rules: [{name: bench, when: {source: QZ9ZZ}, then: keep}]\nrates: [{name: one, allow: 2 per hour}]"
    )
    lines = [
        *(b"QA1BCD-9>APRS:>%d" % number for number in range(5)),
        b"QA1BCD-9>APRS:>0",
        b"QZ9ZZ>APRS:>test",
        b"QA1BCD-9>APRS,TCPIP*:>no",
        MIC_E_EMERGENCY,
        MIC_E_EMERGENCY,
        b"no frame",
    ]
    for number, line in enumerate(lines):
        policy.judge(heard(line, number))
    tally = policy.tally
    assert (tally.heard, tally.forward, tally.kept_by_reason().total()) == (11, 3, 8)
    assert tally.kept_by_reason() == {
        Reason.DAMAGED: 1,
        Reason.INTERNET_ORIGIN: 1,
        Reason.DUPLICATE: 2,
        Reason.RULE: 1,
        Reason.OVER_RATE: 3,
    }
    assert list(tally.kept_by_reason()) == [reason for reason in Reason if reason in tally.kept_by_reason()]
    assert tally.kept_by_entry() == {(Reason.RULE, "bench"): 1, (Reason.OVER_RATE, "one"): 3}
    assert tally.emergencies == 1
    assert dict(tally.stations.greatest()) == {
        "QA1BCD-9": 2 * len(b"QA1BCD-9>APRS,qAO,QX1GAT-10:>0\r\n"),
        "QE1SOS": len(MIC_E_EMERGENCY) + len(b",qAO,QX1GAT-10\r\n"),
    }
    assert tally.octets == tally.stations.total()
    plain = policy.to_object()
    assert plain["heard"] == plain["forward"] + plain["keep"]
    assert sum(plain["keep_by_reason"].values()) == plain["keep"]
    assert (plain["keep_by_rule"], plain["keep_by_rate"]) == ({"bench": 1}, {"one": 3})


def test_the_busiest_minute_is_a_minute_of_the_clock() -> None:
    busiest = BusiestMinute()
    for seconds in (0, 59, 60, 61, 62, 119, 120, 121):
        busiest.add(NOON_MS + seconds * 1000, 50)
    assert (busiest.began_ms, busiest.lines, busiest.octets) == (NOON_MS + 60_000, 4, 200)
    assert BusiestMinute().to_object() is None
