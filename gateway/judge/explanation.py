"""Why a verdict is what it is: every question that was asked of a frame, its answer, and which of them decided."""

from collections.abc import Iterator
from dataclasses import dataclass

from gateway.frames.frame import Damaged
from gateway.frames.heard import Heard
from gateway.frames.network_line import route
from gateway.frames.plain import PlainObject
from gateway.frames.third_party import Unwrapped, unwrap
from gateway.frames.tnc2 import first_line
from gateway.judge.conditions import Subject
from gateway.judge.emergency import is_emergency
from gateway.judge.judge import HeaderStanding, Judge
from gateway.judge.network_rules import NETWORK_RULES
from gateway.judge.verdict import Decision, Judged, Reason


@dataclass(frozen=True, slots=True)
class Step:
    """One question on the way to the verdict."""

    step: str
    """A reason of the network's rules, `duplicate`, `emergency`, `rule NAME` or `rate NAME`."""

    asked: str
    answer: str
    decided: bool = False

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {"step": str(self.step), "asked": self.asked, "answer": self.answer, "decided": self.decided}


@dataclass(frozen=True, slots=True)
class Explanation:
    """A verdict with the way to it."""

    judged: Judged
    steps: tuple[Step, ...]


def explain(judge: Judge, heard: Heard) -> Explanation:
    """Judge `heard`, and say what was asked. The judge remembers the frame as it would any other.

    A rate is not asked twice, since asking counts as an offer: what it said shows in the verdict.
    """
    steps = [*_until_decided(_steps(judge, heard))]
    judged = judge.judge(heard)
    if not (steps and steps[-1].decided):
        steps += _until_decided(_rate_steps(judge, judged))
    return Explanation(judged, tuple(steps))


def _until_decided(steps: Iterator[Step]) -> Iterator[Step]:
    for step in steps:
        yield step
        if step.decided:
            return


def _steps(judge: Judge, heard: Heard) -> Iterator[Step]:
    """All that is asked before the rates."""
    frame = heard.frame
    if isinstance(frame, Damaged):
        yield Step(Reason.DAMAGED, "Is it damaged?", f"yes: {frame.because}", decided=True)
        return
    yield Step(Reason.DAMAGED, "Is it damaged?", "no")
    unwrapped = unwrap(frame)
    added = route(judge.policy.post.callsign)
    for rule in NETWORK_RULES:
        why = rule.broken(unwrapped, added)
        yield Step(rule.reason, rule.question, "no" if why is None else f"yes: {why}", decided=why is not None)
    yield from _policy_steps(judge, heard, unwrapped)


def _policy_steps(judge: Judge, heard: Heard, unwrapped: Unwrapped) -> Iterator[Step]:
    innermost = unwrapped.innermost
    information = first_line(innermost.information)
    standing = judge.standing(heard.receiver, unwrapped)
    since = judge.copy_since(standing, information, heard.moment.elapsed_ms)
    asked = f"Did a copy of it go up in the last {judge.policy.window_ms / 1000:g} s?"
    answer = "no" if since is None else f"yes: {since / 1000:.1f} s ago"
    yield Step(Reason.DUPLICATE, asked, answer, decided=since is not None)
    if is_emergency(innermost, information):
        answer = "yes: no rule and no rate of the policy can hold it back"
        yield Step("emergency", "Is it an emergency?", answer, decided=True)
        return
    yield from _rule_steps(judge, standing, judge.subject(standing, innermost, information, heard))


def _rule_steps(judge: Judge, standing: HeaderStanding, subject: Subject) -> Iterator[Step]:
    """Only rules whose questions to the header hold are shown one by one: a policy may have thousands."""
    for candidate in standing.concerns.rules:
        verdict = candidate.verdict
        holds = candidate.asks is None or candidate.asks(subject)
        answer = f"yes: {verdict.decision}" if holds else "no"
        keeps = holds and verdict.decision is Decision.KEEP
        yield Step(f"rule {verdict.rule}", "Does everything hold that it asks?", answer, decided=keeps)
        if holds:
            return
    others = len(judge.policy.rules) - len(standing.concerns.rules)
    if others:
        asked = "Does the other rule hold?" if others == 1 else f"Does one of the {others} others hold?"
        yield Step("rules", asked, "no: not this callsign, receiver or path")


def _rate_steps(judge: Judge, judged: Judged) -> Iterator[Step]:
    """The rates up to the one that had no room, which the verdict names."""
    frame, innermost = judged.heard.frame, judged.innermost
    if isinstance(frame, Damaged) or innermost is None:
        return
    standing = judge.standing(judged.heard.receiver, unwrap(frame))
    subject = judge.subject(standing, innermost, judged.information, judged.heard)
    for _, rate in standing.concerns.rates:
        name = f"rate {rate.rate.name}"
        if rate.when.of_subject is not None and not rate.when.of_subject(subject):
            yield Step(name, "Is the frame one that it is about?", "no")
            continue
        full = judged.verdict == rate.verdict
        yield Step(name, f"Is there room in it, per {rate.rate.per}?", "no" if full else "yes", decided=full)
