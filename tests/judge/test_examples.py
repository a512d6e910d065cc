"""The examples in a policy are run whenever it is loaded; one that comes out otherwise refuses the policy."""

from pathlib import Path

import pytest

from gateway.commands import checking
from gateway.documents import DocumentError
from gateway.judge.examples import check_examples
from tests.judge.listening import POST, source_of

BENCH = "rules: [{name: bench, when: {source: QZ9*}, then: keep}]\n"
SLOW = "rates: [{name: slow, per: source, allow: 1 per day}]\n"
COPY = "'QA1BCD>APRS:x'"


def checked(text: str) -> list[str]:
    """What the examples of the policy say; nothing where all of them hold."""
    source = source_of(text)
    try:
        check_examples(source, POST)
    except DocumentError as error:
        return [str(problem) for problem in error.problems]
    return []


def example(keys: str, policy: str = "") -> list[str]:
    return checked(f"{policy}examples: [{{{keys}}}]")


def test_examples_that_hold_say_nothing() -> None:
    assert (
        checked(
            BENCH
            + SLOW
            + """
examples:
  - {frame: "QA1BCD>APRS:x", expect: forward}
  - {frame: "QZ9A>APRS:x", expect: keep}
  - {frame: "QZ9A>APRS:x", expect: keep, reason: rule}
  - {frame: "QZ9A>APRS:x", expect: keep, reason: rule, rule: bench}
  - {frame: "QZ9A>APRS:x", expect: keep, rule: bench}
  - {frame: "QA1BCD>APRS,TCPIP*:x", expect: keep, reason: internet-origin}
  - {frame: "QA1BCD>APRS:x", control: 0x13, expect: keep, reason: not-ui}
  - {frame: "QA1BCD>APRS:x", pid: 0xCF, expect: keep, reason: wrong-pid}
  - {frame: "no frame", expect: keep, reason: damaged}
  - {frame: "QA1BCD>APRS:x", after: ["QA1BCD>APRS,QD1AA*:x"], expect: keep, reason: duplicate}
  - {frame: "QA1BCD>APRS:y", after: ["QA1BCD>APRS:x"], expect: keep, reason: over-rate, rule: slow}
"""
        )
        == []
    )


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        (f"frame: {COPY}, expect: keep", "the example expects keep, but the policy says forward"),
        ("frame: 'QZ9A>APRS:x', expect: forward", "the example expects forward, but the policy says keep, rule, bench"),
        (
            "frame: 'QZ9A>APRS:x', expect: keep, reason: duplicate",
            "the example expects keep, duplicate, but the policy says keep, rule, bench",
        ),
        (
            "frame: 'QZ9A>APRS:x', expect: keep, rule: other",
            "the example expects keep, other, but the policy says keep, rule, bench",
        ),
        (
            "frame: 'QA1BCD>APRS,NOGATE:x', expect: forward",
            "the example expects forward, but the policy says keep, asked-not-to-gate",
        ),
        ("frame: 'QA1BCD APRS:x', expect: keep", "the frame cannot be read: the header has no > after its source"),
        ("frame: '', expect: keep", "the frame cannot be read: the line has no colon after its header"),
        (
            f"frame: {COPY}, expect: forward, after: ['QA1BCD APRS:x']",
            "a frame before it cannot be read: the header has no > after its source",
        ),
    ],
)
def test_an_example_that_comes_out_otherwise_is_told_with_what_came(keys: str, said: str) -> None:
    assert example(keys, BENCH) == [f"policy.yaml:4: examples[0]: {said}"]


def test_every_example_that_fails_is_told_at_its_own_line() -> None:
    text = "examples:\n" + "".join(
        f"  - frame: {COPY}\n    expect: {expect}\n" for expect in ("keep", "forward", "keep")
    )
    assert [line.split(" ")[0] for line in checked(text)] == ["policy.yaml:4:", "policy.yaml:8:"]


def test_each_example_starts_with_empty_memory() -> None:
    assert checked(SLOW + f"examples: [{{frame: {COPY}, expect: forward}}, {{frame: {COPY}, expect: forward}}]") == []


def test_frames_before_are_heard_at_their_times_the_longest_ago_first() -> None:
    before = [{"frame": "QA1BCD>APRS:x", "before": f"{seconds}s"} for seconds in (5, 29)]
    assert example(f"frame: {COPY}, after: {before}, expect: keep, reason: duplicate") == []
    assert example(f"frame: {COPY}, after: [{{frame: {COPY}, before: 30s}}], expect: forward") == []
    assert example(f"frame: {COPY}, after: [{{frame: {COPY}, before: 29999ms}}], expect: keep") == []


@pytest.mark.parametrize("hours", [1, 2, 23, 24, 25, 8000])
def test_frames_may_stand_long_before(hours: int) -> None:
    after = f"after: [{{frame: 'QA1BCD>APRS:first', before: {hours}h}}]"
    expect = "forward" if hours >= 24 else "keep, reason: over-rate"
    assert example(f"frame: {COPY}, {after}, expect: {expect}", SLOW) == []


def test_frames_before_come_from_the_examples_receiver_unless_they_say() -> None:
    rule = "rules: [{name: hf, when: {receiver: hf}, then: keep}]\n"
    assert example(f"frame: {COPY}, receiver: vhf, after: [{COPY}], expect: keep, reason: duplicate", rule) == []
    after = f"[{{frame: {COPY}, receiver: hf}}]"
    assert example(f"frame: {COPY}, receiver: vhf, after: {after}, expect: forward", rule) == []


def test_hours_days_and_budgets_go_by_the_time_that_the_example_states() -> None:
    night = "rules: [{name: night, when: {hours: '22:00-06:00', days: sat}, then: keep}]\n"
    assert example(f"frame: {COPY}, at: 2026-06-06T23:00:00Z, expect: keep, rule: night", night) == []
    assert example(f"frame: {COPY}, at: 2026-06-06T23:00:00+02:00, expect: forward", night) == []
    assert example(f"frame: {COPY}, at: 2026-06-05T23:00:00Z, expect: forward", night) == []
    budget = "rates: [{name: small, per: everything, allow: 1 kB per day}]\n"
    long = [{"frame": f"QA1BCD>APRS:{number}{'x' * 440}", "before": "2h"} for number in range(2)]
    assert (
        example(f"frame: 'QA1BCD>APRS:{'x' * 440}', at: 2026-06-06T12:00:00Z, after: {long}, expect: keep", budget)
        == []
    )
    assert (
        example(f"frame: 'QA1BCD>APRS:{'x' * 440}', at: 2026-06-06T01:00:00Z, after: {long}, expect: forward", budget)
        == []
    )


def test_distances_are_from_the_post_that_loads_the_policy() -> None:
    far = "rules: [{name: far, when: {distance: {beyond: 100km}}, then: keep}]\n"
    assert example("frame: 'QA1BCD>APRS:!5936.00N/00355.00W>', expect: keep, rule: far", far) == []
    assert example("frame: 'QA1BCD>APRS:!5836.00N/00355.00W>', expect: forward", far) == []


def test_check_prints_the_example_that_failed_with_its_file_and_line(tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text(f"version: 1\nname: own\nexamples:\n  - {{frame: {COPY}, expect: keep}}\n")
    (tmp_path / "station.yaml").write_text(
        "station: {callsign: QX1GAT}\nreceivers: [{name: vhf, from: 'kiss+tcp://127.0.0.1:1'}]\npolicy: own.yaml\n"
    )
    report = checking.check_station(tmp_path / "station.yaml")
    assert [str(problem) for problem in report.problems] == [
        f"{tmp_path}/own.yaml:4: examples[0]: the example expects keep, but the policy says forward"
    ]
    assert report.in_words().endswith("1 problem: it cannot be used as it is")
