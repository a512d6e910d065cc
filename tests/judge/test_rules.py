import pytest

from gateway.frames.third_party import Unwrapped
from gateway.judge.judge import HeaderStanding, Judge
from gateway.judge.verdict import Decision, Reason
from tests.judge.listening import Listening

DIRECT = b"QA1BCD-9>APRS:!5836.00N/00355.00W>direct"


def keeps(when: str, line: bytes = DIRECT, receiver: str = "vhf", time_ms: int | None = None) -> bool:
    judged = Listening(f"rules: [{{name: asked, when: {when}, then: keep}}]").hear(line, 0, receiver, time_ms)
    if judged.forward:
        return False
    assert (judged.verdict.reason, judged.verdict.rule) == (Reason.RULE, "asked")
    return True


@pytest.mark.parametrize(
    ("pattern", "source", "holds"),
    [
        ("QA1BCD-9", "QA1BCD-9", True),
        ("qa1bcd-9", "QA1BCD-9", True),
        ("QA1BCD", "QA1BCD", True),
        ("QA1BCD", "QA1BCD-9", False),
        ("QA1BCD-0", "QA1BCD", True),
        ("QA1BCD-*", "QA1BCD", True),
        ("QA1BCD-*", "QA1BCD-15", True),
        ("QA1BCD-*", "QA1BCDE", False),
        ("QA1*", "QA1BCD-9", True),
        ("QA1*", "QA2BCD-9", False),
        ("*-9", "QA1BCD-9", True),
        ("*-9", "QA1BCD", False),
        ("*-0", "QA1BCD", True),
        ("*-0", "QA1BCD-9", False),
        ("Q?1BCD", "QB1BCD", True),
        ("Q?1BCD", "QBB1BCD", False),
        ("Q[AB]1*", "QB1BCD-1", True),
        ("Q[!AB]1*", "QB1BCD-1", False),
        ("*", "Q", True),
    ],
)
def test_callsigns_match_shell_style_patterns_with_the_case_folded(pattern: str, source: str, holds: bool) -> None:
    assert keeps(f'{{source: "{pattern}"}}', source.encode() + b">APRS:>x") is holds


def test_a_list_is_any_of_it_and_conditions_must_all_hold() -> None:
    assert keeps("{source: [QB1XYZ, QA1BCD-9]}")
    assert keeps("{source: QA1BCD-9, destination: APRS}")
    assert not keeps("{source: QA1BCD-9, destination: APZ*}")
    assert not keeps("{source: QA1BCD-9, via: QD1AA}")


def test_a_receiver_is_asked_by_name() -> None:
    assert keeps("{receiver: [hf, vhf]}", receiver="hf")
    assert not keeps("{receiver: hf}", receiver="vhf")


@pytest.mark.parametrize(
    ("policy", "worked_out"),
    [
        ("", [""]),
        ("rules: [{name: asked, when: {not: {receiver: hf}}, then: keep}]", ["hf", ""]),
        ("rates: [{name: each, per: receiver, allow: 5 per minute}]", ["hf", "vhf", "uhf"]),
    ],
)
def test_receivers_that_a_policy_tells_nothing_apart_by_have_their_answers_together(
    policy: str, worked_out: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    listening, asked = Listening(policy), []
    standing = Judge.standing

    def noted(judge: Judge, receiver: str, unwrapped: Unwrapped) -> HeaderStanding:
        asked.append(receiver)
        return standing(judge, receiver, unwrapped)

    monkeypatch.setattr(Judge, "standing", noted)
    verdicts = {
        receiver: listening.hear(b"QA1BCD-9>APRS:>%d" % number, 0, receiver).forward
        for number, receiver in enumerate(("hf", "vhf", "uhf"))
    }
    assert asked == worked_out
    assert verdicts == {"hf": True, "vhf": "not" not in policy, "uhf": "not" not in policy}


@pytest.mark.parametrize(
    ("path", "holds"),
    [
        (b",QD1AA*", True),
        (b",QD1AA,QD1BB*", True),
        (b",QD1BB,QD1AA*", True),
        (b",QD1AA", False),
        (b",QD1BB*,QD1AA", False),
        (b"", False),
    ],
)
def test_via_asks_for_repeaters_that_were_used(path: bytes, holds: bool) -> None:
    assert keeps("{via: QD1AA}", b"QA1BCD-9>APRS" + path + b":>x") is holds


@pytest.mark.parametrize(
    ("path", "hops"), [(b"", 0), (b",WIDE1-1", 0), (b",QD1AA*", 1), (b",QD1AA,QD1BB*,WIDE2-1", 2), (b",A*,B*,C*", 3)]
)
def test_hops_count_the_repeaters_that_were_used(path: bytes, hops: int) -> None:
    line = b"QA1BCD-9>APRS" + path + b":>x"
    assert keeps(f"{{hops: {{at_least: {hops}, at_most: {hops}}}}}", line)
    assert not keeps(f"{{hops: {{at_least: {hops + 1}}}}}", line)


def test_via_and_hops_of_a_third_party_frame_are_those_of_the_radio_path() -> None:
    line = b"QD1AA>APRS,QD1BB*:}QB2CDE>APRS,QC3DEF*,QC3GHI*:>inside"
    assert keeps("{source: QB2CDE, via: QD1BB, hops: {at_least: 1, at_most: 1}}", line)
    assert not keeps("{via: QC3DEF}", line)
    assert not keeps("{source: QD1AA}", line)


def test_not_denies_whatever_stands_in_it() -> None:
    assert keeps("{source: QA1*, not: {source: QA1XYZ}}")
    assert not keeps("{source: QA1*, not: {source: QA1BCD-9}}")
    assert not keeps("{not: {source: QA1BCD-9, contains: direct}}")
    assert keeps("{not: {source: QA1BCD-9, contains: elsewhere}}")
    assert keeps("{not: {contains: elsewhere}}")
    assert keeps("{not: {via: QD1AA}}")
    assert not keeps("{not: {via: QD1AA}}", b"QA1BCD-9>APRS,QD1AA*:>x")


def test_report_symbol_contains_and_addressee_look_into_the_information() -> None:
    assert keeps("{report: [weather, position]}")
    assert not keeps("{report: message}")
    assert keeps('{symbol: "/>"}')
    assert not keeps('{symbol: "/_"}')
    assert keeps("{contains: [nowhere, DIRECT]}")
    assert keeps("{contains: direct}", b"QA1BCD-9>APRS:>DIRECT")
    assert keeps("{addressee: QB2*}", b"QA1BCD-9>APRS::QB2CDE-7 :hello{1")
    assert not keeps("{addressee: QB2CDE}", b"QA1BCD-9>APRS::QB2CDE-7 :hello{1")
    assert not keeps("{addressee: QB2*}")
    assert keeps("{addressee: QB2CDE}", b"QA1BCD-9>APRS::qb2cde   :hello{1")


def test_distance_is_from_the_station_and_asks_nothing_of_a_frame_without_a_position() -> None:
    away = b"QA1BCD-9>APRS:!5936.00N/00355.00W>"  # a degree of latitude north: 111 km
    assert keeps("{distance: {beyond: 100km}}", away)
    assert not keeps("{distance: {beyond: 120km}}", away)
    assert keeps("{distance: {within: 120km, beyond: 100km}}", away)
    assert not keeps("{distance: {within: 100km}}", away)
    assert not keeps("{distance: {within: 100km, beyond: 90km}}", away)
    assert keeps("{distance: {within: 500m}}")
    assert not keeps("{distance: {within: 20000km}}", b"QA1BCD-9>APRS:>no position")


@pytest.mark.parametrize(
    ("hours", "at", "holds"),
    [
        ("10:00-14:00", "12:00", True),
        ("12:00-14:00", "12:00", True),
        ("10:00-12:00", "12:00", False),
        ("10:59-14:00", "12:00", True),
        ("22:00-06:00", "22:00", True),
        ("22:00-06:00", "21:59", False),
        ("22:00-06:00", "23:59", True),
        ("22:00-06:00", "05:59", True),
        ("22:00-06:00", "06:00", False),
        ("22:00-06:00", "12:00", False),
        ("00:00-24:00", "12:00", True),
    ],
)
def test_hours_are_utc_and_may_pass_midnight(hours: str, at: str, holds: bool) -> None:
    hour, minute = map(int, at.split(":"))
    time_ms = 1_780_704_000_000 + (hour * 60 + minute) * 60_000  # from 2026-06-06T00:00:00Z
    assert keeps(f'{{hours: "{hours}"}}', time_ms=time_ms) is holds


def test_of_several_spans_of_hours_one_is_enough() -> None:
    assert keeps('{hours: ["06:00-08:00", "11:00-13:00"]}')
    assert not keeps('{hours: ["06:00-08:00", "13:00-14:00"]}')


def test_days_are_utc() -> None:
    saturday = 1_780_747_200_000
    assert keeps("{days: [sat, sun]}", time_ms=saturday)
    assert not keeps("{days: [mon, fri, sun]}", time_ms=saturday)
    assert keeps("{days: mon}", time_ms=0 + 4 * 86_400_000)  # 5 January 1970 was a Monday


def test_the_first_rule_that_matches_decides() -> None:
    post = Listening(
        """
rules:
  - {name: ours, when: {source: QA1*}, then: forward}
  - {name: nobody-else, then: keep}
"""
    )
    ours = post.hear(DIRECT)
    assert (ours.verdict.decision, ours.verdict.rule) == (Decision.FORWARD, "ours")
    other = post.hear(b"QB2CDE>APRS:>x")
    assert (other.verdict.reason, other.verdict.rule) == (Reason.RULE, "nobody-else")


def test_no_rule_that_matches_means_forward() -> None:
    assert Listening("rules: [{name: other, when: {source: QZ*}, then: keep}]").hear(DIRECT).forward


def test_groups_stand_for_their_patterns() -> None:
    policy = 'groups: {club: ["QA1*", "QB2BCD-*"]}\nrules: [{name: asked, when: {source: "@club"}, then: keep}]'
    post = Listening(policy)
    assert not post.hear(DIRECT).forward
    assert not post.hear(b"QB2BCD-3>APRS:>x").forward
    assert post.hear(b"QC3DEF>APRS:>x").forward


def test_an_emergency_passes_every_rule_and_rate() -> None:
    # Ours, after APRS101 chapter 10: message bits 000 in the first three characters of the destination.
    post = Listening("rules: [{name: nothing, then: keep}]\nrates: [{name: slow, per: everything, allow: 1 per day}]")
    emergency = post.hear(b'QA1BCD-9>332564:`(_fn"Oj/', at=0)
    assert emergency.emergency
    assert emergency.forward
    assert post.hear(b'QA1BCD-9>332564,QD1AA*:`(_fn"Oj/', at=1).verdict.reason is Reason.DUPLICATE
    assert post.hear(b'QA1BCD-9>332564,TCPIP:`(_fn"Ok/', at=1).verdict.reason is Reason.INTERNET_ORIGIN
    assert post.hear(b'QA1BCD-9>332564:`(_fn"Ol/', at=1).forward
