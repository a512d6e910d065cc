"""How many frames a second are judged, beside `json.loads` of the same frames' heard objects; and how flat that is.

Every measurement is made beside its baseline, in turn, on one core, and the median of the pairs counts. The frames are
read and their headers known, as in a running gateway. Prints frames per second and ratios.

Run it from the tree: `.venv/bin/python tests/bench/judging.py`.
"""

import argparse
import contextlib
import gc
import json
import os
import statistics
import time
from collections.abc import Callable, Sequence

from gateway import policy_files
from gateway.feed.heard_object import encode, heard_object
from gateway.feed.reader import ReportReader
from gateway.frames import tnc2
from gateway.frames.heard import Heard, Moment
from gateway.judge.compiled import CompiledPolicy
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.policy import Policy
from gateway.judge.source import PolicyText, read_policy

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


def seconds(measured: Measured) -> float:
    """One measurement, with nothing left to collect before it and nothing collected in it."""
    gc.collect()
    gc.disable()
    began = time.perf_counter()
    measured()
    taken = time.perf_counter() - began
    gc.enable()
    return taken


def pairs(ours: Measured, baseline: Measured, count: int) -> list[tuple[float, float]]:
    """Seconds of each, measured in turn."""
    return [(seconds(ours), seconds(baseline)) for _ in range(count)]


def tell(name: str, taken: list[tuple[float, float]], frames_each: int, than: str, target: str) -> None:
    """One line of results: how many times as fast as the baseline."""
    ratio = statistics.median(baseline / ours for ours, baseline in taken)
    ours, baseline = (frames_each / statistics.median(column) for column in zip(*taken, strict=True))
    print(f"{name:58} {ours:10,.0f}/s, {than} {baseline:10,.0f}/s: {ratio:5.2f} times as fast (target: {target})")


def beside_json(heard: Sequence[Heard], count: int) -> None:
    """The judgement beside `json.loads`, for three policies."""
    reader = ReportReader(POST)
    empty = CompiledPolicy(Policy(version=1, name="empty"), "000000", POST)
    judged = [Judge(empty).judge(one) for one in heard]
    whole = parsing([encode(heard_object(one, reader(one))) for one in judged])
    bare = parsing([encode(heard_object(one)) for one in judged])
    ready = {
        name: policy_files.load(name, POST, beside=policy_files.ready_policies()) for name in policy_files.ready_names()
    }
    for name, policy in {"empty": empty, **{name: source.compiled(POST) for name, source in ready.items()}}.items():
        target = "1.0" if name in {"empty", "receive-only"} else "none"
        tell(f"policy {name}", pairs(judging(policy, heard), whole, count), len(heard), "json.loads", target)
    tell(
        "policy empty, objects without report",
        pairs(judging(empty, heard), bare, count),
        len(heard),
        "json.loads",
        "none",
    )


def flatness(heard: Sequence[Heard], count: int) -> None:
    """Ten thousand rules beside ten, with headers known and with headers new."""
    began = time.perf_counter()
    few, many = policy_of(listing(10, 100)), policy_of(listing(10_000, 100_000))
    print(f"(both policies took {time.perf_counter() - began:.1f} s to read)")
    taken = pairs(judging(many, heard), judging(few, heard), count)
    tell("10,000 rules, 100,000 callsigns; headers known", taken, len(heard), "10 rules, 100 callsigns", "above 0.5")
    fresh = [one for place, one in enumerate(heard) if place < STATIONS]
    repeats = len(heard) // 10 // len(fresh)

    def anew(policy: CompiledPolicy) -> Measured:
        def judge_all() -> None:
            for _ in range(repeats):
                judge = Judge(policy).judge
                for one in fresh:
                    judge(one)

        return judge_all

    taken = pairs(anew(many), anew(few), count)
    name = "10,000 rules, 100,000 callsigns; each header new"
    tell(name, taken, repeats * len(fresh), "10 rules, 100 callsigns", "above 0.5")


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=100_000)
    parser.add_argument("--pairs", type=int, default=5)
    options = parser.parse_args()
    with contextlib.suppress(AttributeError, OSError):
        os.sched_setaffinity(0, {0})
    heard = frames(options.frames)
    beside_json(heard, options.pairs)
    flatness(heard, options.pairs)


if __name__ == "__main__":
    main()
