"""Each warning is given for a policy that has the fault, and not for one that has not."""

import pytest

from gateway.judge.conditions import Post
from gateway.judge.coverage import Coverage
from gateway.judge.policy import Conditions
from gateway.judge.review import review
from tests.judge.listening import POST, source_of


def warnings(text: str, post: Post = POST) -> list[str]:
    return [str(warning) for warning in review(source_of(text), post)]


def about(text: str, words: str, post: Post = POST) -> list[str]:
    return [warning for warning in warnings(text, post) if words in warning]


NEVER_MATCHES = "can never match"


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("{source: QA1*}", "{source: QA1BCD-9}"),
        ("{source: QA1*}", "{source: QA1B*}"),
        ("{source: 'Q?1*'}", "{source: QA1BCD}"),
        ("{hops: {at_most: 8}}", "{hops: {at_least: 2}}"),
        ("{source: QA1*}", "{source: [QA1BCD-9, QA1XYZ], contains: test}"),
        ('{source: "*"}', "{source: 'Q[AB]1'}"),
        ("{source: [QA1B, QA1C]}", "{source: QA1B-0}"),
        ('{source: "@club"}', "{source: QA1BCD}"),
        ('{source: "@club"}', '{source: "@club", report: weather}'),
        ("{report: [weather, position]}", "{report: weather}"),
        ("{hops: {at_least: 1}}", "{hops: {at_least: 2, at_most: 3}}"),
        ("{distance: {beyond: 100km}}", "{distance: {beyond: 300km}}"),
        ("{distance: {within: 10km}}", "{distance: {within: 5km, beyond: 1km}}"),
        ("{contains: test}", "{contains: bench TEST}"),
        ('{hours: "20:00-08:00"}', '{hours: ["22:00-06:00"]}'),
        ("{days: [sat, sun]}", "{days: sun}"),
        ("{receiver: [vhf, hf]}", "{receiver: hf}"),
        ("{not: {source: QA1*}}", "{not: {source: [QA1*, QB2*]}}"),
        ("{via: QD1*}", "{via: QD1AA, source: QA1BCD}"),
    ],
)
def test_a_rule_whose_frames_an_earlier_one_takes_can_never_match(first: str, second: str) -> None:
    policy = (
        'groups: {club: ["QA1*"]}\nrules:\n'
        f"  - {{name: one, when: {first}, then: keep}}\n  - {{name: two, when: {second}, then: keep}}\n"
    )
    found = about(policy, NEVER_MATCHES)
    assert len(found) == 1
    assert found[0].startswith("policy.yaml:6: rules[1]: the rule two can never match: one")
    turned_round = (
        policy.replace("name: one", "name: x").replace("name: two", "name: one").replace("name: x", "name: two")
    )
    lines = turned_round.splitlines()
    lines[2:4] = lines[3], lines[2]
    assert about("\n".join(lines), NEVER_MATCHES) == []


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ("{source: QA1BCD}", "{source: QA1*}"),
        ("{source: QA1*, contains: test}", "{source: QA1BCD}"),
        ("{source: QA1*}", "{destination: QA1*}"),
        ("{hops: {at_least: 2}}", "{hops: {at_least: 1}}"),
        ('{hours: "22:00-06:00"}', '{hours: "21:00-06:00"}'),
        ("{not: {source: [QA1*, QB2*]}}", "{not: {source: QA1*}}"),
        ("{contains: bench test}", "{contains: test}"),
    ],
)
def test_a_rule_that_takes_more_than_the_earlier_one_can_match(first: str, second: str) -> None:
    policy = f"rules:\n  - {{name: one, when: {first}, then: keep}}\n  - {{name: two, when: {second}, then: keep}}\n"
    assert about(policy, NEVER_MATCHES) == []


def test_a_rule_whose_not_takes_everything_away_can_never_match() -> None:
    policy = "rules: [{name: one, when: {source: QA1BCD, not: {source: QA1*}}, then: keep}]"
    assert about(policy, "its `not` takes away all that it asks for")
    assert not about(policy.replace("not: {source: QA1*}", "not: {source: QA1BCD-9}"), NEVER_MATCHES)


@pytest.mark.parametrize("earlier", ["", "{name: one, when: {contains: x}, then: keep}, "])
def test_a_policy_that_keeps_everything_is_told(earlier: str) -> None:
    policy = f"rules: [{earlier}{{name: nothing, then: keep}}]"
    assert about(policy, "keeps everything")
    assert not about(
        "rules: [{name: ours, when: {source: QA1*}, then: forward}, {name: rest, then: keep}]", "keeps everything"
    )


def test_a_rule_that_no_example_shows_is_told() -> None:
    policy = "rules: [{name: one, when: {source: QA1*}, then: keep}]\n"
    example = 'examples: [{frame: "QA1BCD>APRS:>x", expect: keep, rule: one}]\n'
    assert about(policy, "no example shows the rule one")
    assert warnings(policy + example) == []


RULE = "rules: [{name: held, when: {source: QA1*}, then: keep}]\n"


@pytest.mark.parametrize(
    ("policy", "why"),
    [
        (RULE + "rates: [{name: slow, when: {source: QA1BCD}, allow: 1 per minute}]", "the rule held keeps all"),
        (
            "rates: [{name: tight, allow: 1 per minute}, {name: slow, when: {source: QA1*}, allow: 10 per minute}]",
            "tight is about all of the same frames, and allows less",
        ),
        (
            "rates: [{name: tight, per: everything, allow: 5 per minute}, {name: slow, allow: 5 per minute}]",
            "tight is about all of the same frames",
        ),
        (
            "rates: [{name: slow, allow: 5 per minute}, {name: tight, per: everything, allow: 5 per minute}]",
            "tight is about all of the same frames",
        ),
        (
            "rates: [{name: first, allow: 5 per minute}, {name: slow, allow: 300 per hour, burst: 5}]",
            "first is about all of the same frames",
        ),
        ("rates: [{name: slow, per: receiver, allow: 100 per second}]", "no channel brings so many frames"),
        ("rates: [{name: slow, per: source, allow: 61 per second}]", "no channel brings so many frames"),
    ],
)
def test_a_rate_that_can_never_bite_is_told(policy: str, why: str) -> None:
    found = about(policy, "can never bite")
    assert len(found) == 1
    assert "the rate slow" in found[0]
    assert why in found[0]


@pytest.mark.parametrize(
    "policy",
    [
        RULE + "rates: [{name: slow, when: {source: Q*}, allow: 1 per minute}]",
        "rates: [{name: tight, when: {source: QA1*}, allow: 1 per minute}, {name: slow, allow: 10 per minute}]",
        "rates: [{name: one, allow: 6 per minute, burst: 6}, {name: slow, allow: 60 per hour, burst: 10}]",
        "rates: [{name: one, allow: 59 per hour, burst: 6}, {name: slow, allow: 60 per hour, burst: 3}]",
        "rates: [{name: slow, per: source, allow: 60 per second}]",
        "rates: [{name: one, per: source, allow: 1 per minute}, {name: slow, per: everything, allow: 10 per minute}]",
        "rates: [{name: slow, per: everything, allow: 100 per second}]",
        "rates: [{name: slow, per: receiver, allow: 7 per second}]",
    ],
)
def test_a_rate_that_can_bite_is_not(policy: str) -> None:
    assert about(policy, "can never bite") == []


def test_what_is_meant_for_emergencies_and_has_no_effect_on_them_is_told() -> None:
    assert about("rules: [{name: emergency-first, when: {source: QA1*}, then: forward}]", "no effect on emergencies")
    assert about('rules: [{name: drill, when: {contains: "MAYDAY"}, then: keep}]', "no effect on emergencies")
    assert about("rates: [{name: emergency-room, per: everything, allow: 9 per minute}]", "no effect on emergencies")
    for word in ("emergency", "Mayday", "distress", "sos"):
        assert about(f"rules: [{{name: drill, when: {{contains: {word}}}, then: keep}}]", "no effect on emergencies")
    assert not about("rules: [{name: drill, when: {contains: regatta}, then: keep}]", "no effect on emergencies")


def test_a_distance_without_a_position_of_the_station_is_told() -> None:
    policy = "rules: [{name: far, when: {not: {distance: {within: 300km}}}, then: keep}]"
    assert about(policy, "asks for a distance", Post("QX1GAT-10"))
    assert not about(policy, "asks for a distance")
    assert not about(
        "rules: [{name: far, when: {hops: {at_least: 3}}, then: keep}]", "asks for a distance", Post("QX1GAT-10")
    )


def test_nothing_covers_less_than_itself() -> None:
    for when in (
        {"source": "QA1*"},
        {"hops": {"at_least": 2}},
        {"not": {"report": "weather"}},
        {"hours": "22:00-06:00"},
    ):
        conditions = Conditions.model_validate(when)
        assert Coverage({}).covers(conditions, conditions)
        assert not Coverage({}).contradicts_itself(conditions)
        assert Coverage({}).covers(None, conditions)
        assert not Coverage({}).covers(conditions, None)
