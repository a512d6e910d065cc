"""The compiled policy finds the rules that a plain reading of the policy, from the first to the last, would find."""

import time
from fnmatch import fnmatchcase
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st
from pyproj import Geod

from gateway.frames.frame import Frame
from gateway.frames.heard import Heard, Moment
from gateway.frames.third_party import unwrap
from gateway.frames.tnc2 import first_line, read
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.policy import Conditions, Policy
from gateway.judge.verdict import Decision, Reason
from gateway.reports import read as read_report
from tests.judge import strategies
from tests.judge.listening import NOON_MS, POST, source_of

GROUPS = {"club": ["QA1*", "QB2CDE"]}
ELLIPSOID = Geod(ellps="WGS84")
"""Distances by a general library, PROJ's."""


class Asked:
    """A frame to be asked about, read anew for every question."""

    def __init__(self, frame: Frame, receiver: str, time_ms: int) -> None:
        layers = unwrap(frame).layers
        self.outer, self.inner, self.receiver = layers[0].header, layers[-1].header, receiver
        information = first_line(layers[-1].information)
        self.text = information.decode("utf-8", "replace").casefold()
        self.report = read_report(self.inner.destination, information)
        self.time = time.gmtime(time_ms // 1000)

    def distance_km(self) -> float | None:
        position = self.report.position
        if position is None:
            return None
        metres = ELLIPSOID.inv(POST.longitude, POST.latitude, position.longitude, position.latitude)[2]
        return float(metres) / 1000


def matches(callsign: str, patterns: list[str]) -> bool:
    """Shell style, case folded; without SSID a pattern means SSID 0 alone, and `-*` any."""
    for pattern in patterns:
        if pattern.startswith("@"):
            if matches(callsign, GROUPS[pattern[1:]]):
                return True
            continue
        folded = callsign.upper()
        forms = [folded] if "-" in folded else [folded, f"{folded}-0"]
        if any(fnmatchcase(form, pattern.upper()) for form in forms):
            return True
    return False


def holds(when: Conditions | None, asked: Asked) -> bool:
    return when is None or all(
        _holds(key, getattr(when, key), asked) for key in when.model_fields_set if getattr(when, key) is not None
    )


def _holds(key: str, value: Any, asked: Asked) -> bool:  # noqa: ANN401, C901, PLR0911, PLR0912 - one answer for each key
    match key:
        case "source":
            return matches(asked.inner.source, value)
        case "destination":
            return matches(asked.inner.destination, value)
        case "via":
            last = max((place for place, entry in enumerate(asked.outer.path, 1) if entry.used), default=0)
            return any(matches(entry.callsign, value) for entry in asked.outer.path[:last])
        case "hops":
            hops = max((place for place, entry in enumerate(asked.outer.path, 1) if entry.used), default=0)
            return (value.at_least or 0) <= hops <= (8 if value.at_most is None else value.at_most)
        case "receiver":
            return asked.receiver in value
        case "report":
            return asked.report.kind in value
        case "symbol":
            return asked.report.symbol in value
        case "contains":
            return any(text.casefold() in asked.text for text in value)
        case "addressee":
            return matches(asked.report.addressee or "", value)
        case "distance":
            away = asked.distance_km()
            return away is not None and (value.beyond or -1) < away <= (1e9 if value.within is None else value.within)
        case "hours":
            minute = asked.time.tm_hour * 60 + asked.time.tm_min
            return any(
                span.start <= minute < span.end if span.start < span.end else not span.end <= minute < span.start
                for span in value
            )
        case "days":
            return ("mon", "tue", "wed", "thu", "fri", "sat", "sun")[asked.time.tm_wday] in value
        case "not_":
            return not holds(value, asked)
    raise AssertionError(key)


def plainly(policy: Policy, asked: Asked) -> tuple[Decision, str | None]:
    for rule in policy.rules:
        if holds(rule.when, asked):
            return rule.then, rule.name
    return Decision.FORWARD, None


GOOD_LINES = [
    b"QA1BCD-9>APRS,QD1AA*:!5836.00N/00355.00W>moored",
    b"QA1BCD>APRS,WIDE1*,WIDE2-1:>x moored",
    b"qb2cde>APZ001:!5936.00N/00355.00W_",
    b"QZ9XY-15>APRS,A*,B*,C*::QB2CDE   :hello{1",
    b'QC3DEF>S32UVT:`(_fn"Oj/',  # the information of APRS101 chapter 10's example, as the next is of chapter 13's
    b"Q>APRS:T#005,199,000,255,073,123,01101001",
    b"QD1AA>APRS,QD1AA*:}QB2CDE>APRS,WIDE1*:>inside",
    b"QZ1XY-15>APRS:?x", b"QA1BCD-0>TCPIPX:{Qx",
]  # fmt: skip
moments = st.integers(0, 60 * 24 * 40).map(lambda minutes: NOON_MS + minutes * 60_000)


@given(
    st.lists(
        st.fixed_dictionaries({"then": st.sampled_from(["forward", "keep"])}, optional={"when": strategies.conditions}),
        max_size=5,
    ),
    st.sampled_from(GOOD_LINES),
    strategies.receivers,
    moments,
)
@settings(max_examples=400)
def test_the_first_rule_that_holds_is_found(
    rules: list[dict[str, object]], line: bytes, receiver: str, time_ms: int
) -> None:
    named = [{**rule, "name": f"n{number}"} for number, rule in enumerate(rules)]
    policy = Policy.model_validate({"version": 1, "name": "any", "groups": GROUPS, "rules": named})
    frame = read(line)
    assert isinstance(frame, Frame)
    verdict = (
        Judge(CompiledPolicy(policy, "000000", POST))
        .judge(Heard("test", 1, Moment(0, time_ms), receiver, 0, frame))
        .verdict
    )
    if verdict.reason is None or verdict.reason is Reason.RULE:
        assert (verdict.decision, verdict.rule) == plainly(policy, Asked(frame, receiver, time_ms))


def test_headers_that_come_under_the_same_rules_share_them() -> None:
    # Else ten thousand rules without a callsign, times the headers that are remembered, would fill the memory.
    rules = ", ".join(f"{{name: r{number}, when: {{contains: 'word {number}'}}, then: keep}}" for number in range(100))
    policy = source_of(f"rules: [{rules}]").compiled(POST)
    judge = Judge(policy)
    standings = [judge.standing("vhf", unwrap(frame)) for line in GOOD_LINES if isinstance(frame := read(line), Frame)]
    assert len({id(standing.concerns.rules) for standing in standings}) == 1
    assert len(standings[0].concerns.rules) == 100


def test_rules_after_one_that_surely_holds_are_not_asked() -> None:
    policy = source_of(
        "rules: [{name: first, when: {contains: x}, then: keep}, {name: all, then: forward}, {name: never, then: keep}]"
    ).compiled(POST)
    frame = read(GOOD_LINES[0])
    assert isinstance(frame, Frame)
    names = [candidate.verdict.rule for candidate in Judge(policy).standing("vhf", unwrap(frame)).concerns.rules]
    assert names == ["first", "all"]


def test_a_post_without_a_position_meets_no_distance() -> None:
    source = source_of("rules: [{name: near, when: {distance: {within: 20000km}}, then: keep}]")
    frame = read(GOOD_LINES[0])
    for post, forward in ((POST, False), (Post("QX1GAT"), True)):
        judge = Judge(source.compiled(post))
        assert judge.judge(Heard("test", 1, Moment(0, NOON_MS), "vhf", 0, frame)).forward is forward
