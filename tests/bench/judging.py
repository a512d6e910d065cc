"""Frames a second that are judged, beside `json.loads` of their heard objects; and how that grows with the rules.

The frames are read and their headers known, as in a running gateway.
"""

import gc
import json
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

from gateway.feed.heard_object import encode, heard_object
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.heard import Heard, Moment
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.policy import Policy
from gateway.judge.source import PolicyText, read_policy
from gateway.settings import policy_files
from tests.bench.figures import Effort, Figure, in_turn, per_second, ratio

FRAMES = 50_000
STATIONS = 200
MILLISECONDS_APART = 500
"""Two frames a second: a busy channel (common practice)."""

NOON_MS = 1_780_747_200_000
POST = Post("QX1GAT-10", 58.6, -3.9167)
HEAD = "version: 1\nname: bench\n"

Measured = Callable[[], None]


def frames(count: int) -> list[Heard]:
    """Frames from 200 stations, no two of which are duplicates: positions, weather, messages and status."""
    informations = (
        "!5836.%02d N/00355.%02dW>088/036under way, frame %d",
        "@092345z5836.%02dN/00355.%02dW_220/004g005t077r000p000P000h50b09900 %d",
        ":QB%02d2CD  :hello %02d{%d",
        ">at the mark %02d of %02d, frame %d",
    )
    heard = []
    for number in range(count):
        station = number % STATIONS
        information = informations[station % 4] % (number % 60, number // 60 % 60, number)
        line = f"QA{station:03d}X-{station % 15 + 1}>APRS,QD1AA*,WIDE2-1:{information}"
        elapsed_ms = number * MILLISECONDS_APART
        frame = tnc2.read(line.encode("ascii"))
        heard.append(Heard("bench", number + 1, Moment(elapsed_ms, NOON_MS + elapsed_ms), "vhf", 0, frame))
    return heard


def policy_of(text: str) -> CompiledPolicy:
    """A policy from what stands after its version and name."""

    def no_includes(name: str, including: str) -> PolicyText:
        raise FileNotFoundError(2, "nothing is included here", f"{including}: {name}")

    return read_policy(PolicyText("bench.yaml", HEAD + text), no_includes).compiled(POST)


def listing(rules: int, callsigns: int) -> str:
    """So many rules that list so many callsigns in all; one in ten of the stations heard is among them."""
    each = callsigns // rules
    lines = ["rules:"]
    for rule in range(rules):
        listed = [f"QZ{rule:05d}-{number % 100}" for number in range(each)]
        if rule < STATIONS // 10:
            listed[-1] = f"QA{rule * 10:03d}X-*"
        lines.append(f"  - {{name: r{rule}, when: {{source: [{', '.join(map(repr, listed))}]}}, then: keep}}")
    return "\n".join(lines)


def judging(policy: CompiledPolicy, heard: Sequence[Heard]) -> Measured:
    """Judges all of them with fresh memory."""

    def judge_all() -> None:
        judge = Judge(policy).judge
        for one in heard:
            judge(one)

    return judge_all


def parsing(texts: Sequence[bytes]) -> Measured:
    """Parses all of them."""

    def parse_all() -> None:
        loads = json.loads
        for text in texts:
            loads(text)

    return parse_all


def rate(frames_each: int, measured: Measured) -> float:
    """Frames a second of the processor, with nothing left to collect before it and nothing collected in it."""
    gc.collect()
    gc.disable()
    began = time.thread_time()
    measured()
    taken = time.thread_time() - began
    gc.enable()
    return frames_each / taken


def rates(turns: int, frames_each: int, sides: Mapping[str, Measured]) -> dict[str, list[float]]:
    """Frames a second of each side, in turn."""
    return in_turn(turns, {name: partial(rate, frames_each, side) for name, side in sides.items()})


def beside_json(heard: Sequence[Heard], turns: int) -> Iterator[Figure]:
    """The judgement beside `json.loads`, for the ready policies and one without any rule."""
    reader = ReportReader(POST)
    empty = CompiledPolicy(Policy(version=1, name="empty"), "000000", POST)
    whole = parsing([encode(heard_object(one, reader(one))) for one in map(Judge(empty).judge, heard)])
    ready = {
        name: policy_files.load(name, POST, beside=policy_files.ready_policies()).compiled(POST)
        for name in policy_files.ready_names()
    }
    asks_reports = policy_of("rules: [{name: r, when: {report: query}, then: keep}]")
    policies = {"empty": empty, **ready, "asking for every report": asks_reports}
    sides = {name: judging(policy, heard) for name, policy in policies.items()}
    results = rates(turns, len(heard), {**sides, "json.loads": whole})
    for name in policies:
        yield ratio(f"policy {name}", results[name], results["json.loads"], per_second("frames"), "json.loads")


def growth(heard: Sequence[Heard], turns: int) -> Iterator[Figure]:
    """Ten thousand rules beside ten, with headers known and with headers new."""
    few, many = policy_of(listing(10, 100)), policy_of(listing(10_000, 100_000))
    fresh = heard[:STATIONS]
    repeats = max(1, len(heard) // 10 // len(fresh))

    def anew(policy: CompiledPolicy) -> Measured:
        def judge_all() -> None:
            for _ in range(repeats):
                judging(policy, fresh)()

        return judge_all

    for name, count, measured in (
        ("headers known", len(heard), partial(judging, heard=heard)),
        ("headers new", repeats * len(fresh), anew),
    ):
        results = rates(turns, count, {"few": measured(few), "many": measured(many)})
        what = f"10 to 10,000 rules, {name}"
        yield ratio(what, results["few"], results["many"], per_second("frames"), "10,000 rules")


def measure(effort: Effort) -> Iterator[Figure]:
    """All figures."""
    heard = frames(effort.of(FRAMES))
    yield from beside_json(heard, effort.turns)
    yield from growth(heard, effort.turns)
