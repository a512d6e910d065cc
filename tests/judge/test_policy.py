"""Every key of the policy language: what it takes, and what it refuses in plain words."""

import pytest

from gateway.documents import DocumentError
from gateway.judge.policy import Allowance, Conditions, Day, Hours, Policy, Rate, receivers_in
from gateway.judge.source import PolicyText, read_policy
from gateway.judge.verdict import Decision, Reason
from gateway.reports import Kind
from tests.judge.listening import no_includes, source_of

HEAD_LINES = 2
"""The version and the name, which `source_of` writes."""


def policy_of(text: str) -> Policy:
    return source_of(text).policy


def when_of(text: str) -> Conditions:
    when = policy_of(f"groups: {{club: [Q*]}}\nrules: [{{name: a, when: {text}, then: keep}}]").rules[0].when
    assert when is not None
    return when


def rate_of(text: str) -> Rate:
    return policy_of(f"rates: [{{name: a, {text}}}]").rates[0]


def refused(text: str) -> list[str]:
    with pytest.raises(DocumentError) as refusal:
        source_of(text)
    return [
        f"{problem.line - HEAD_LINES}: {problem.key}: {problem.what}".replace(": : ", ": ")
        for problem in refusal.value.problems
    ]


def test_an_empty_policy_forwards_and_knows_copies_for_thirty_seconds() -> None:
    policy = policy_of("")
    assert (policy.version, policy.name, policy.duplicates.window) == (1, "test", 30_000)
    assert (policy.groups, policy.rules, policy.rates, policy.include, policy.examples) == ({}, [], [], [], [])


@pytest.mark.parametrize(
    ("text", "milliseconds"), [("1s", 1000), ("1500ms", 1500), ("5m", 300_000), ("1h", 3_600_000), ("30 s", 30_000)]
)
def test_a_window_is_a_length_of_time(text: str, milliseconds: int) -> None:
    assert policy_of(f"duplicates: {{window: {text}}}").duplicates.window == milliseconds


@pytest.mark.parametrize(
    ("text", "key", "read"),
    [
        ("{source: QA1BCD-9}", "source", ["QA1BCD-9"]),
        ('{source: ["QA1*", "Q?2[AB]C-1", "@club"]}', "source", ["QA1*", "Q?2[AB]C-1", "@club"]),
        ('{destination: "APZ*"}', "destination", ["APZ*"]),
        ("{via: [QD1AA, QD1BB]}", "via", ["QD1AA", "QD1BB"]),
        ('{addressee: "QB2*"}', "addressee", ["QB2*"]),
        ("{receiver: hf}", "receiver", ["hf"]),
        ("{receiver: [hf, vhf-2]}", "receiver", ["hf", "vhf-2"]),
        ("{receiver: headland/vhf}", "receiver", ["headland/vhf"]),
        ("{report: [position, user-defined]}", "report", [Kind.POSITION, Kind.USER_DEFINED]),
        ('{symbol: ["/_", "\\\\>"]}', "symbol", ["/_", "\\>"]),
        ("{contains: [test, 'a b']}", "contains", ["test", "a b"]),
        ('{hours: "22:00-06:00"}', "hours", [Hours(start=1320, end=360)]),
        ('{hours: ["00:00-24:00", "06:30 - 07:00"]}', "hours", [Hours(start=0, end=1440), Hours(start=390, end=420)]),
        ("{days: [sat, sun]}", "days", [Day.SATURDAY, Day.SUNDAY]),
    ],
)
def test_a_condition_takes_one_value_or_a_list(text: str, key: str, read: list[object]) -> None:
    assert getattr(when_of(text), key) == read


def test_conditions_with_bounds_take_one_or_both() -> None:
    hops = when_of("{hops: {at_least: 0, at_most: 8}}").hops
    assert hops is not None
    assert (hops.at_least, hops.at_most) == (0, 8)
    distance = when_of("{distance: {beyond: 300km, within: 500.5 km}}").distance
    assert distance is not None
    assert (distance.beyond, distance.within) == (300.0, 500.5)
    near = when_of("{distance: {within: 500m}}").distance
    assert near is not None
    assert (near.within, near.beyond) == (0.5, None)


def test_not_holds_conditions_of_its_own() -> None:
    denied = when_of("{source: QA1*, not: {via: QD1*, not: {hops: {at_most: 2}}}}").not_
    assert denied is not None
    assert denied.via == ["QD1*"]
    assert denied.not_ is not None


@pytest.mark.parametrize(
    ("text", "allowance"),
    [
        ("1 per second", Allowance(amount=1, period="second")),
        ("6 per minute", Allowance(amount=6, period="minute")),
        ("999999999 per hour", Allowance(amount=999_999_999, period="hour")),
        ("6   per   day", Allowance(amount=6, period="day")),
        ("500 kB per day", Allowance(amount=500_000, period="day", octets=True)),
        ("2MB per month", Allowance(amount=2_000_000, period="month", octets=True)),
    ],
)
def test_an_allowance_is_frames_in_a_period_or_octets_in_a_day_or_month(text: str, allowance: Allowance) -> None:
    assert rate_of(f"allow: {text}").allow == allowance


def test_a_rate_takes_its_keys() -> None:
    rate = rate_of(
        "when: {receiver: vhf}, per: report, allow: 6 per minute, burst: 3, reserve: {for: message, share: 25%}"
    )
    assert (rate.per, rate.burst) == ("report", 3)
    assert rate.reserve is not None
    assert (rate.reserve.kinds, rate.reserve.share) == ([Kind.MESSAGE], 0.25)
    assert rate_of("allow: 6 per minute").per == "source"
    for per in ("source", "receiver", "report", "everything"):
        assert rate_of(f"per: {per}, allow: 6 per minute").per == per


def test_an_example_takes_its_keys() -> None:
    (example,) = policy_of(
        """
rules: [{name: a, when: {source: QZ9*}, then: keep}]
examples:
  - frame: "QZ9A>APRS:x"
    after: ["QA1>APRS:y", {frame: "QA1>APRS:z", receiver: hf, before: 10s}]
    receiver: vhf
    control: 0x03
    pid: 0xF0
    at: 2026-06-06T12:00:00Z
    expect: keep
    reason: rule
    rule: a
"""
    ).examples
    assert [(before.frame, before.receiver, before.before) for before in example.after] == [
        ("QA1>APRS:y", None, 0),
        ("QA1>APRS:z", "hf", 10_000),
    ]
    assert (example.receiver, example.control, example.pid, example.at) == ("vhf", 3, 0xF0, 1_780_747_200_000)
    assert (example.expect, example.reason, example.rule) == (Decision.KEEP, Reason.RULE, "a")


NO_PATTERN = 'is no pattern for callsigns: write it as QA1BCD-9, "QA1*" or "@group"'
NO_RECEIVER = "is no name of a receiver: write it as vhf, or in a club as headland/vhf"
NO_NAME = "is no name: write small letters, digits and hyphens, no more than 63"
NO_LENGTH = "is no length of time; write a number and its unit, as 30s, 5m, 24h or 30d"
NO_DISTANCE = "is no distance; write a number and its unit, as 300km or 500m"
NO_HOURS = 'is no span of hours; write it in UTC as "22:00-06:00", in quotation marks'
NO_ALLOWANCE = "is no allowance; write it as `6 per minute`, `2 MB per day` or `50 MB per month`"
NO_SHARE = "is no share; write it as a percentage from 1% to 99%"
NO_TIME = "is no time; write it as 2026-06-06T12:00:00Z"
ASK = "give at least one condition; leave `when` out where every frame is meant"


def in_when(key: str, value: str, said: str) -> tuple[str, str]:
    text = f"rules:\n  - name: a\n    when:\n      source: Q*\n      {key}: {value}\n    then: keep\n"
    return text.replace("      source: Q*\n" if key == "source" else "", ""), said


MISTAKES = [
    ("ruels: []", '1: ruels: unknown key - did you mean "rules"?'),
    ("zzz: 1", "1: zzz: unknown key; the keys here are version, name, duplicates, groups, rules, rates, include, ex"),
    ("version: 2", "1: version: this key stands twice: take one out"),
    ("duplicates: 30s", "1: duplicates: keys with values belong here: window"),
    ("duplicates: {window: 30}", f"1: duplicates.window: 30 {NO_LENGTH}"),
    ("duplicates: {window: 999ms}", "1: duplicates.window: this should be from 1s to 1h"),
    ("duplicates: {window: 61m}", "1: duplicates.window: this should be from 1s to 1h"),
    ("duplicates: {windw: 30s}", '1: duplicates.windw: unknown key - did you mean "window"?'),
    ("groups: [Q*]", "1: groups: keys with values belong here"),
    ("groups: {club: Q*}", "1: groups.club: a list belongs here, as [one, another]"),
    ("groups: {Club: [Q*]}", f"1: groups.Club: 'Club' {NO_NAME}"),
    ("groups:\n  club: [QA1,\n    a b]", f"3: groups.club[1]: 'a b' {NO_PATTERN}"),
    ("groups: {club: ['@x']}", "1: groups: group club names another group, @x: list its patterns instead"),
    ("rules: {}", "1: rules: a list belongs here, as [one, another]"),
    ("rules:\n  - keep", "2: rules[0]: keys with values belong here: name, when, then"),
    ("rules:\n  - {name: a}", "2: rules[0].then: this key is missing, and it is required"),
    ("rules:\n  - {then: keep}", "2: rules[0].name: this key is missing, and it is required"),
    ("rules:\n  - {name: A B, then: keep}", f"2: rules[0].name: 'A B' {NO_NAME}"),
    (f"rules:\n  - {{name: {'a' * 64}, then: keep}}", f"2: rules[0].name: '{'a' * 64}' {NO_NAME}"),
    ("rules:\n  - {name: a, then: kept}", "this should be 'forward' or 'keep' - did you mean \"keep\"?"),
    ("rules:\n  - {name: a, then: drop}", "2: rules[0].then: this should be 'forward' or 'keep'"),
    ("rules:\n  - name: a\n    when:", "3: rules[0].when: there is no value: give one here, or further in"),
    ("rules:\n  - name: a\n    when: {}\n    then: keep", f"3: rules[0].when: {ASK}"),
    ("rules:\n  - name: a\n    when: {not: {}}\n    then: keep", f"3: rules[0].when.not: {ASK}"),
    in_when("source", "", "4: rules[0].when.source: there is no value: give one here, or further in"),
    in_when("source", "[]", "4: rules[0].when.source: at least one belongs here"),
    in_when("source", "1234", "4: rules[0].when.source: text belongs here; put it in quotation marks"),
    in_when("source", "QA1/CD", f"4: rules[0].when.source: 'QA1/CD' {NO_PATTERN}"),
    in_when("source", f"{'Q' * 33}", f"4: rules[0].when.source: '{'Q' * 33}' {NO_PATTERN}"),
    in_when("source", "'@Club'", f"4: rules[0].when.source: '@Club' {NO_PATTERN}"),
    in_when("source", "[QA1, [QB2]]", "4: rules[0].when.source[1]: text belongs here; put it in quotation marks"),
    in_when("sorce", "Q*", '5: rules[0].when.sorce: unknown key - did you mean "source"?'),
    in_when("not_", "{via: Q*}", '5: rules[0].when.not_: unknown key - did you mean "not"?'),
    in_when("not", "{via: [a b]}", f"5: rules[0].when.not.via[0]: 'a b' {NO_PATTERN}"),
    in_when("receiver", "VHF", f"5: rules[0].when.receiver: 'VHF' {NO_RECEIVER}"),
    in_when("hops", "3", "5: rules[0].when.hops: keys with values belong here: at_least, at_most"),
    in_when("hops", "{}", "5: rules[0].when.hops: give at_least, at_most or both"),
    in_when("hops", "{at_least: 9}", "5: rules[0].when.hops.at_least: this should be less than or equal to 8"),
    in_when("hops", "{at_least: -1}", "5: rules[0].when.hops.at_least: this should be greater than or equal to 0"),
    in_when("hops", "{at_least: true}", "5: rules[0].when.hops.at_least: a whole number belongs here"),
    in_when("hops", "{at_least: 1.0}", "5: rules[0].when.hops.at_least: a whole number belongs here"),
    in_when("hops", "{at_least: 3, at_most: 2}", "hops: at_least is greater than at_most: this can never hold"),
    in_when("hops", "{most: 2}", '5: rules[0].when.hops.most: unknown key - did you mean "at_most"?'),
    in_when("report", "positon", "this should be 'position', 'weather',"),
    in_when("report", "positon", '- did you mean "position"?'),
    in_when("distance", "300km", "5: rules[0].when.distance: keys with values belong here: within, beyond"),
    in_when("distance", "{}", "5: rules[0].when.distance: give within, beyond or both"),
    in_when("distance", "{within: 5}", f"5: rules[0].when.distance.within: 5 {NO_DISTANCE}"),
    in_when("distance", "{within: 5 miles}", f"5: rules[0].when.distance.within: '5 miles' {NO_DISTANCE}"),
    in_when("distance", "{within: -5km}", f"5: rules[0].when.distance.within: '-5km' {NO_DISTANCE}"),
    in_when(
        "distance", "{within: 5km, beyond: 5km}",
        "5: rules[0].when.distance: within is not greater than beyond: this can never hold",
    ),
    in_when("symbol", "/", "5: rules[0].when.symbol: '/' is no symbol: write its table and its code, two characters"),
    in_when("contains", "''", "5: rules[0].when.contains: string should have at least 1 character"),
    in_when("contains", "x" * 257, "5: rules[0].when.contains: string should have at most 256 characters"),
    in_when("contains", "5", "5: rules[0].when.contains: text belongs here; put it in quotation marks"),
    *[
        in_when("hours", f"{hours!r}", f"5: rules[0].when.hours: {hours!r} {NO_HOURS}")
        for hours in ("22:00", "22-06", "24:00-06:00", "22:60-06:00", "22:00-24:01", "06:00-06:00", "1:00-2:00")
    ],
    in_when("hours", "2200", f"5: rules[0].when.hours: 2200 {NO_HOURS}"),
    in_when("days", "[sat, sunday]", "'sat' or 'sun' - did you mean \"sun\"?"),
    in_when("days", "Sat", "5: rules[0].when.days: this should be 'mon', 'tue', 'wed', 'thu', 'fri', 'sat' or 'sun'"),
    ("rates:\n  - {name: a}", "2: rates[0].allow: this key is missing, and it is required"),
    *[
        (f"rates:\n  - name: a\n    allow: {allow!r}", f"3: rates[0].allow: {allow!r} {NO_ALLOWANCE}")
        for allow in (
            6, "six per minute", "0 per minute", "6 per week", "6 per month", "-6 per minute", "6.5 per minute",
            "2 MB per minute", "2 MB per hour", "2 mb per day", "2 GB per day", "1000000000 per day", "6 perminute",
        )
    ],
    *[
        (f"rates:\n  - name: a\n    allow: 6 per minute\n    {key}: {value}", f"4: rates[0].{key}{said}")
        for key, value, said in [
            ("per", "station", ": this should be 'source', 'receiver', 'report' or 'everything'"),
            ("burst", "0", ": this should be greater than or equal to 1"),
            ("burst", "1000001", ": this should be less than or equal to 1000000"),
            ("burst", "true", ": a whole number belongs here"),
            ("burst", "2.5", ": a whole number belongs here"),
            ("reserve", "25%", ": keys with values belong here: for, share"),
            ("reserve", "{share: 25%}", ".for: this key is missing, and it is required"),
            ("reserve", "{for: message}", ".share: this key is missing, and it is required"),
            ("reserve", "{kinds: message, share: 25%}", ".kinds: unknown key; the keys here are for, share"),
            ("reserve", "{for: [], share: 25%}", ".for: at least one belongs here"),
            ("reserve", "{for: message, share: 0.25}", f".share: 0.25 {NO_SHARE}"),
            ("reserve", "{for: message, share: 0%}", f".share: '0%' {NO_SHARE}"),
            ("reserve", "{for: message, share: 100%}", f".share: '100%' {NO_SHARE}"),
            ("when", "{}", f": {ASK}"),
        ]
    ],
    (
        "rates:\n  - {name: a, allow: 2 MB per day, burst: 3}",
        "2: rates[0]: a budget in kB or MB has no burst: all of it may be used at any time of its period",
    ),
    *[
        (
            f"rates:\n  - {{name: a, {room}, reserve: {{for: message, share: {share}}}}}",
            "2: rates[0]: the reserve leaves no whole frame to other reports: none would ever pass; raise the burst",
        )
        for room, share in [
            ("allow: 1 per minute", "1%"), ("allow: 9 per hour, burst: 1", "25%"), ("allow: 2 per day", "51%"),
        ]
    ],
    ("include: club.yaml", "1: include: a list belongs here, as [one, another]"),
    ("include: ['']", "1: include[0]: string should have at least 1 character"),
    ("examples:\n  - {frame: x}", "2: examples[0].expect: this key is missing, and it is required"),
    *[
        (f"examples:\n  - frame: Q>A:x\n    expect: keep\n    {key}: {value}", f"4: examples[0].{key}{said}")
        for key, value, said in [
            ("reason", "tcpip", ": this should be 'damaged', 'not-ui',"),
            ("rule", "A", f": 'A' {NO_NAME}"),
            ("receiver", "VHF", f": 'VHF' {NO_RECEIVER}"),
            ("control", "256", ": this should be less than or equal to 255"),
            ("pid", "-1", ": this should be greater than or equal to 0"),
            ("control", "UI", ": a whole number belongs here"),
            ("at", "yesterday", f": 'yesterday' {NO_TIME}"),
            ("at", "2026-13-01T00:00:00Z", f": '2026-13-01T00:00:00Z' {NO_TIME}"),
            ("after", "'Q>A:y'", ": a list belongs here, as [one, another]"),
            ("after", "[3]", "[0]: keys with values belong here: frame, receiver, before"),
            ("after", "[{frame: x, befor: 3s}]", '[0].befor: unknown key - did you mean "before"?'),
            ("after", "[{frame: x, before: 3}]", f"[0].before: 3 {NO_LENGTH}"),
            ("after", "[{frame: x, before: 367d}]", "[0].before: this should be from 0s to 366d"),
        ]
    ],
    ("examples: [{frame: x, expect: keep, reason: internet-orign}]", "'over-rate' - did you mean \"internet-origin\"?"),
    (
        "examples:\n  - {frame: Q>A:x, expect: forward, reason: rule}",
        "2: examples[0]: a frame that is expected to be forwarded has no reason for keeping it",
    ),
]  # fmt: skip


@pytest.mark.parametrize(("text", "said"), MISTAKES, ids=[text.strip().splitlines()[-1][-60:] for text, _ in MISTAKES])
def test_a_mistake_is_told_with_its_line_and_key_and_what_to_do(text: str, said: str) -> None:
    told = refused(text)
    assert any(said in line for line in told), told


def test_receivers_are_named_with_their_places() -> None:
    when = when_of("{receiver: [vhf, hf], not: {receiver: uhf, not: {contains: x}}}")
    place = ("rules", 0, "when")
    named = [((*place, "receiver"), "vhf"), ((*place, "receiver"), "hf"), ((*place, "not", "receiver"), "uhf")]
    assert list(receivers_in(when, place)) == named
    assert list(receivers_in(None, place)) == []


def test_the_version_and_the_name_are_required() -> None:
    for text, said in [
        (
            "",
            [
                "p:1: version: this key is missing, and it is required",
                "p:1: name: this key is missing, and it is required",
            ],
        ),
        ("version: 2\nname: a", ["p:1: version: this should be 1"]),
        ("version: '1'\nname: a", ["p:1: version: this should be 1"]),
        ("version: 1\nname: A B", [f"p:2: name: 'A B' {NO_NAME}"]),
    ]:
        with pytest.raises(DocumentError) as refusal:
            read_policy(PolicyText("p", text), no_includes)
        assert str(refusal.value).splitlines() == said
