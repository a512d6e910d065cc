"""Frames that break rules as often as they keep them, and policies that ask anything, for property tests."""

from typing import Any

from hypothesis import strategies as st

from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.heard import Heard, Moment
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.policy import Day, Policy
from gateway.judge.verdict import Reason
from gateway.reports import Kind
from tests.judge.listening import NOON_MS, POST

SOURCES = [
    "QA1BCD-9",
    "QA1BCD",
    "QB2CDE",
    "QZ9XY-15",
    "qc3def",
    "Q",
    "N0CALL",
    "mycall-3",
    "QA1-B-C",
    "TOOLONGCALL",
    "",
]
DESTINATIONS = ["APRS", "APZ001", "332564", "S32UVT", "TCPIP", "qAR", "A/B", ""]
ENTRIES = [
    "QD1AA",
    "QD1BB-3",
    "WIDE2-1",
    "WIDE1",
    "TCPIP",
    "tcpxx",
    "NOGATE",
    "RFONLY-2",
    "qAC",
    "qar",
    "QAR",
    "A B",
    "",
]
TEXTS = [
    b"", b"!5836.00N/00355.00W>moored", b">status", b":QB2CDE   :hello{1", b"?APRS?", b"}", b"\r\nx", b"one\rtwo",
    b'`(_fn"Oj/', b"`abc\rdefghijkl", b"x" * 480, b"x" * 490, b"T#005,199,000,255,073,123,01101001", b"spaces   ",
    b"!5836.00N/00355.00W>!EMERGENCY!", b":QB2CDE   :!EMERGENCY!",
]  # fmt: skip

paths = st.lists(st.builds(Repeater, st.sampled_from(ENTRIES), st.booleans()), max_size=8).map(tuple)
headers = st.builds(Header, st.sampled_from(SOURCES), st.sampled_from(DESTINATIONS), paths)
good_headers = st.builds(Header, st.sampled_from(SOURCES[:4]), st.sampled_from(DESTINATIONS[:4]), st.just(()))
texts = st.sampled_from(TEXTS) | st.binary(max_size=20)


def _inside(header: Header, information: bytes) -> bytes:
    return b"}" + header.network + b":" + information


informations = st.recursive(texts, lambda inner: st.builds(_inside, headers | good_headers, inner), max_leaves=3)
proper = st.builds(Frame, headers | good_headers, informations)
others = st.builds(
    Frame,
    headers | good_headers,
    informations,
    st.sampled_from([UI, 0x13, 0x00, 0x3F]),
    st.sampled_from([NO_LAYER_3, 0xCF, None]),
)
frames = proper | proper | others
damage = st.just(Damaged("it is noise", b"\xff"))
receivers = st.sampled_from(["vhf", "hf"])


@st.composite
def streams(draw: st.DrawFn) -> list[Heard]:
    """What a post hears, a few frames of which many are alike, at any pace, over midnight and months."""
    elapsed_ms, offset_ms = 0, draw(st.sampled_from([NOON_MS, NOON_MS + 11 * 3_600_000, NOON_MS + 2_000_000_000]))
    heard = []
    several = draw(st.lists(frames | damage, min_size=1, max_size=4))
    for sequence, frame in enumerate(draw(st.lists(st.sampled_from(several), max_size=12)), 1):
        elapsed_ms += draw(st.sampled_from([0, 1, 999, 5000, 29_999, 30_000, 600_000, 86_400_000]))
        moment = Moment(elapsed_ms, elapsed_ms + offset_ms)
        heard.append(Heard("test", sequence, moment, draw(receivers), 0, frame))
    return heard


patterns = st.sampled_from(
    ["QA1BCD", "QA1BCD-9", "QA1*", "qb2*", "*", "Q?1*", "Q[AZ]*", "*-15", "QD1AA", "WIDE*", "@club"]
)


def _some(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return values | st.lists(values, min_size=1, max_size=3)


def _bounds(least: str, most: str, values: st.SearchStrategy[Any]) -> st.SearchStrategy[dict[str, Any]]:
    return st.builds(lambda key, value: {key: value}, st.sampled_from([least, most]), values)


_asked = {
    "source": _some(patterns),
    "destination": _some(st.sampled_from(["APRS", "APZ*", "3*", "tcpip"])),
    "receiver": _some(receivers),
    "via": _some(patterns),
    "hops": _bounds("at_least", "at_most", st.integers(0, 8)),
    "report": _some(st.sampled_from([kind.value for kind in Kind])),
    "distance": _bounds("within", "beyond", st.sampled_from(["1km", "500m", "20000km"])),
    "symbol": st.sampled_from(["/>", "/_"]),
    "contains": _some(st.sampled_from(["moored", "X", "?"])),
    "addressee": _some(patterns),
    "hours": st.sampled_from(["22:00-06:00", "00:00-24:00", "06:00-12:00"]),
    "days": _some(st.sampled_from([day.value for day in Day])),
}
_flat = st.dictionaries(st.sampled_from(sorted(_asked)), st.none(), min_size=1, max_size=2).flatmap(
    lambda keys: st.fixed_dictionaries({key: _asked[key] for key in keys})
)
conditions = (
    _flat
    | st.builds(lambda when, denied: {**when, "not": denied}, _flat, _flat)
    | _flat.map(lambda when: {"not": when})
)

_rules = st.lists(
    st.fixed_dictionaries({"then": st.sampled_from(["forward", "keep"])}, optional={"when": conditions}), max_size=4
)
_rates = st.lists(
    st.fixed_dictionaries(
        {
            "allow": st.sampled_from(["1 per day", "2 per minute", "3 per second", "1 kB per day", "1 kB per month"]),
            "per": st.sampled_from(["source", "receiver", "report", "everything"]),
        },
        optional={"when": conditions},
    ),
    max_size=3,
)


def _named(entries: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [{**entry, "name": f"n{number}"} for number, entry in enumerate(entries)]


def _policy(rules: list[dict[str, Any]], rates: list[dict[str, Any]], window: str) -> CompiledPolicy:
    policy = Policy.model_validate(
        {
            "version": 1,
            "name": "any",
            "duplicates": {"window": window},
            "groups": {"club": ["QA1*", "QB2CDE"]},
            "rules": _named(rules),
            "rates": _named(rates),
        }
    )
    return CompiledPolicy(policy, "000000", POST)


policies = st.builds(_policy, _rules, _rates, st.sampled_from(["1s", "30s", "1h"]))

NETWORK_REASONS = [*Reason][: [*Reason].index(Reason.DUPLICATE)]
"""Those of the network's own rules, which no policy can switch off."""
