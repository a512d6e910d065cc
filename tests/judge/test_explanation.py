"""The way to a verdict, step by step. That it decides as the judge does is shown for any stream in test_judge."""

import pytest

from gateway.judge.explanation import Explanation, Step, explain
from gateway.judge.network_rules import NETWORK_RULES
from gateway.judge.verdict import Reason
from tests.judge.listening import Listening

DIRECT = b"QA1BCD-9>APRS:!5836.00N/00355.00W>moored"

POLICY = """
groups: {club: ["QA1*"]}
rules:
  - {name: elsewhere, when: {source: QZ9*}, then: keep}
  - {name: noisy, when: {source: "@club", contains: noise}, then: keep}
  - {name: ours, when: {source: "@club"}, then: forward}
  - {name: never-asked, then: keep}
rates:
  - {name: on-hf, when: {receiver: hf}, allow: 1 per day}
  - {name: status-only, when: {report: status}, allow: 9 per day}
  - {name: all, per: everything, allow: 2 per day}
"""


class Explaining(Listening):
    def explain(self, line: bytes, at: float = 0, receiver: str = "vhf") -> Explanation:
        return explain(self.judge, self.heard(line, at, receiver))


def steps_of(explanation: Explanation) -> dict[str, Step]:
    steps = {str(step.step): step for step in explanation.steps}
    assert len(steps) == len(explanation.steps)
    return steps


def test_every_rule_of_the_network_is_asked_in_the_order_of_the_reasons() -> None:
    explanation = Explaining().explain(DIRECT)
    asked = [step.step for step in explanation.steps]
    assert asked == [*Reason][: [*Reason].index(Reason.RULE)]
    assert [step.answer for step in explanation.steps] == ["no"] * len(asked)
    assert not any(step.decided for step in explanation.steps)
    assert explanation.judged.forward
    assert all(step.asked.endswith(("?", ".")) for step in explanation.steps)


@pytest.mark.parametrize(
    ("line", "reason", "answer"),
    [
        (b"no frame", Reason.DAMAGED, "yes: the line has no colon after its header"),
        (
            b"QA1-B-C>APRS:x",
            Reason.BAD_CALLSIGN,
            'yes: "QA1-B-C" is not 1-9 letters and digits with at most one hyphen',
        ),
        (b"N0CALL-1>APRS:x", Reason.PLACEHOLDER_CALLSIGN, "yes: N0CALL-1"),
        (b"QA1BCD>APRS,qAR,QX:x", Reason.Q_CONSTRUCT_ON_AIR, "yes: qAR"),
        (b"QA1BCD>APRS,QD1AA*,TCPIP:x", Reason.INTERNET_ORIGIN, "yes: TCPIP"),
        (b"QA1BCD>APRS,RFONLY:x", Reason.ASKED_NOT_TO_GATE, "yes: RFONLY"),
        (
            b"QA1BCD>APRS:}QB2CDE>APRS",
            Reason.THIRD_PARTY_MALFORMED,
            "yes: the frame inside has no colon after its header",
        ),
        (b"QA1BCD>APRS:}QB2CDE>APRS,TCPXX*:x", Reason.THIRD_PARTY_INTERNET, "yes: TCPXX"),
        (b"QA1BCD>APRS:\rx", Reason.EMPTY, "yes: nothing stands before its end or first line end"),
        (b"QA1BCD>APRS:?APRS?", Reason.GENERIC_QUERY, "yes: it begins with ?"),
        (b"QA1BCD>APRS:??", Reason.GENERIC_QUERY, "yes: it begins with ?"),
        (b"QA1BCD>APRS:" + b"x" * 500, Reason.TOO_LONG, "yes: the line would have 528 octets"),
    ],
)
def test_the_rule_that_is_broken_decides_and_says_by_what(line: bytes, reason: Reason, answer: str) -> None:
    explanation = Explaining().explain(line)
    last = explanation.steps[-1]
    assert (last.step, last.answer, last.decided) == (reason, answer, True)
    assert explanation.judged.verdict.reason is reason


def test_a_question_mark_elsewhere_makes_no_query() -> None:
    assert steps_of(Explaining().explain(b"QA1BCD>APRS:>who is there?"))["generic-query"].answer == "no"


def test_a_step_in_plain_form_has_its_four_keys() -> None:
    step = Explaining().explain(b"QA1BCD>APRS:?APRS?").steps[-1]
    assert step.to_object() == {
        "step": "generic-query",
        "asked": "Is it a query to everyone? Thousands would answer.",
        "answer": "yes: it begins with ?",
        "decided": True,
    }


def test_a_question_is_put_as_the_rule_puts_it() -> None:
    steps = steps_of(Explaining().explain(DIRECT))
    for rule in NETWORK_RULES:
        assert steps[rule.reason].asked == rule.question


def test_a_copy_is_told_with_how_long_ago_the_first_went_up() -> None:
    post = Explaining()
    assert post.explain(DIRECT, 0).judged.forward
    last = post.explain(DIRECT + b"  \rtail", 12.34).steps[-1]
    assert (last.step, last.asked) == ("duplicate", "Did a copy of it go up in the last 30 s?")
    assert (last.answer, last.decided) == ("yes: 12.3 s ago", True)


def test_an_emergency_ends_the_questions_before_the_policy_is_asked() -> None:
    # Ours, after APRS101 chapter 10: message bits 000 in the first three characters of the destination.
    explanation = Explaining("rules: [{name: nothing, then: keep}]").explain(b'QA1BCD-9>332564:`(_fn"Oj/')
    last = explanation.steps[-1]
    assert (last.step, last.decided) == ("emergency", True)
    assert last.answer == "yes: no rule and no rate of the policy can hold it back"
    assert explanation.judged.forward


def test_what_is_never_sent_is_not_looked_at() -> None:
    # After the first line end nothing goes up: so it makes no emergency, and no rule finds its word there.
    post = Explaining("rules: [{name: noisy, when: {contains: noise}, then: keep}]")
    assert "emergency" not in steps_of(post.explain(b"QA1BCD-9>332564:`abc\rdefghijkl"))
    assert post.explain(b"QA1BCD-9>APRS:>calm\rnoise").judged.forward
    assert not post.explain(b"QA1BCD-9>APRS:>noise\rcalm").judged.forward


def test_rules_whose_header_fits_are_asked_one_by_one_up_to_the_one_that_holds() -> None:
    steps = steps_of(Explaining(POLICY).explain(DIRECT))
    assert "rule elsewhere" not in steps
    assert (steps["rule noisy"].answer, steps["rule noisy"].decided) == ("no", False)
    assert (steps["rule ours"].answer, steps["rule ours"].decided) == ("yes: forward", False)
    assert "rule never-asked" not in steps


def test_a_rule_that_keeps_decides() -> None:
    last = Explaining(POLICY).explain(DIRECT + b" noise").steps[-1]
    assert (last.step, last.answer, last.decided) == ("rule noisy", "yes: keep", True)


@pytest.mark.parametrize(("count", "asked"), [(1, "Does the other rule hold?"), (5, "Does one of the 5 others hold?")])
def test_the_rules_that_no_header_fits_are_told_together(count: int, asked: str) -> None:
    text = (
        "rules: ["
        + ", ".join(f"{{name: r{number}, when: {{source: QZ{number}}}, then: keep}}" for number in range(count))
        + "]"
    )
    step = steps_of(Explaining(text).explain(DIRECT))["rules"]
    assert (step.asked, step.answer) == (asked, "no: not this callsign, receiver or path")


def test_rates_are_told_up_to_the_one_that_has_no_room() -> None:
    post = Explaining(POLICY)
    steps = steps_of(post.explain(DIRECT))
    assert "rate on-hf" not in steps
    assert steps["rate status-only"].asked == "Is the frame one that it is about?"
    assert steps["rate status-only"].answer == "no"
    assert (steps["rate all"].asked, steps["rate all"].answer) == ("Is there room in it, per everything?", "yes")
    assert post.explain(b"QA1BCD-9>APRS:>2").judged.forward
    last = post.explain(b"QA1BCD-9>APRS:>3").steps[-1]
    assert (last.step, last.answer, last.decided) == ("rate all", "no", True)


def test_explaining_a_frame_takes_one_token_and_remembers_it_once() -> None:
    explained, judged = (
        Explaining("rates: [{name: slow, allow: 3 per day}]"),
        Listening("rates: [{name: slow, allow: 3 per day}]"),
    )
    lines = [b"QA1BCD-9>APRS:>%d" % number for number in (1, 2, 2, 3, 4)]
    assert [explained.explain(line).judged.verdict for line in lines] == [judged.hear(line).verdict for line in lines]


def test_a_third_party_frame_is_explained_by_its_innermost() -> None:
    post = Explaining(POLICY)
    steps = steps_of(post.explain(b"QD1AA>APRS:}QA1BCD-9>APRS:>inside noise"))
    assert steps["rule noisy"].decided
    assert steps["third-party-malformed"].answer == "no"
