"""A policy made ready to be asked: built once when it is loaded, and never changed."""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from gateway.judge.conditions import (
    REMEMBERED_TRAITS,
    Compiled,
    OfSubject,
    Post,
    Traits,
    compile_conditions,
    label_of,
)
from gateway.judge.patterns import PatternIndex
from gateway.judge.policy import Conditions, Per, Policy, Rate, receivers_in
from gateway.judge.verdict import Decision, Reason, Verdict


@dataclass(frozen=True, slots=True)
class CompiledRule:
    """One entry of `rules:`."""

    name: str
    when: Compiled
    verdict: Verdict
    """What it says where it matches."""


@dataclass(frozen=True, slots=True)
class CompiledRate:
    """One entry of `rates:`, as written, and what it is about."""

    rate: Rate
    when: Compiled
    verdict: Verdict
    """What it says of a frame for which there is no room."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A rule whose questions to the header hold; `asks` is what it still wants to know, None where nothing."""

    asks: OfSubject | None
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Concerns:
    """What of a policy concerns the frames with the same traits."""

    traits: Traits
    rules: tuple[Candidate, ...]
    """Those that such a frame can match, in order, up to the first that surely does."""

    rates: tuple[tuple[int, CompiledRate], ...]
    """Those that it can come under, with their places in `CompiledPolicy.rates`."""


REMEMBERED_CANDIDATES = 256
"""Sets of rules that are shared by the headers that come under them: a policy of rules without callsigns has few."""


class CompiledPolicy:
    """What the judge asks. Rules are found by the labels of a frame's callsigns, not by going through them all."""

    def __init__(self, policy: Policy, digest: str, post: Post) -> None:
        self.label = f"{policy.name}@{digest}"
        self.post = post
        self.origin = post.origin
        self.window_ms = policy.duplicates.window
        self.labels = _labels(policy)
        self.forward = Verdict(Decision.FORWARD, self.label)
        self.kept = {reason: Verdict(Decision.KEEP, self.label, reason) for reason in Reason}
        self.rules = tuple(
            CompiledRule(rule.name, compile_conditions(rule.when, self.labels), self._verdict(rule.then, rule.name))
            for rule in policy.rules
        )
        self.rates = tuple(
            CompiledRate(
                rate,
                compile_conditions(rate.when, self.labels),
                Verdict(Decision.KEEP, self.label, Reason.OVER_RATE, rate.name),
            )
            for rate in policy.rates
        )
        self._candidates = tuple(Candidate(rule.when.of_subject, rule.verdict) for rule in self.rules)
        self._several = lru_cache(REMEMBERED_CANDIDATES)(self._those)
        self.concerns = lru_cache(REMEMBERED_TRAITS)(self._concerns)
        self._receivers = _receivers(policy)
        self._by_label: dict[tuple[str, str], list[int]] = {}
        self._always: list[int] = []
        for number, rule in enumerate(self.rules):
            self._index(number, rule.when)

    def receiver_asked(self, receiver: str) -> str:
        """The receiver as far as the policy asks for it; empty for all that it tells nothing apart by."""
        return receiver if self._receivers is None or receiver in self._receivers else ""

    def _concerns(self, traits: Traits) -> Concerns:
        """Headers with the same traits share it."""
        rates = tuple(
            (place, rate)
            for place, rate in enumerate(self.rates)
            if rate.when.of_traits is None or rate.when.of_traits(traits)
        )
        return Concerns(traits, self._candidates_of(traits), rates)

    def _candidates_of(self, traits: Traits) -> tuple[Candidate, ...]:
        numbers = set(self._always)
        for name, labels in (("source", traits.source), ("destination", traits.destination), ("via", traits.via)):
            for label in labels:
                numbers.update(self._by_label.get((name, label), ()))
        matching: list[int] = []
        for number in sorted(numbers):
            when = self.rules[number].when
            if when.of_traits is None or when.of_traits(traits):
                matching.append(number)
                if when.of_subject is None:
                    break
        return self._several(tuple(matching))

    def _those(self, numbers: tuple[int, ...]) -> tuple[Candidate, ...]:
        return tuple(self._candidates[number] for number in numbers)

    def _verdict(self, then: Decision, name: str) -> Verdict:
        return Verdict(then, self.label, Reason.RULE if then is Decision.KEEP else None, name)

    def _index(self, number: int, when: Compiled) -> None:
        """File a rule under the first callsign condition that it has."""
        for name, labels in when.names.items():
            for label in labels:
                self._by_label.setdefault((name, label), []).append(number)
            return
        self._always.append(number)


def _receivers(policy: Policy) -> frozenset[str] | None:
    """The receivers that are named; None where a rate counts each of them by itself."""
    if any(rate.per is Per.RECEIVER for rate in policy.rates):
        return None
    conditions = [*(rule.when for rule in policy.rules), *(rate.when for rate in policy.rates)]
    return frozenset(name for when in conditions for _, name in receivers_in(when, ()))


def _labels(policy: Policy) -> PatternIndex:
    index = PatternIndex()
    for name, patterns in policy.groups.items():
        for pattern in patterns:
            index.add(pattern, f"@{name}")
    conditions = [*(rule.when for rule in policy.rules), *(rate.when for rate in policy.rates)]
    for pattern in patterns_in(conditions):
        if not pattern.startswith("@"):
            index.add(pattern, label_of(pattern))
    return index


def patterns_in(conditions: Iterable[Conditions | None]) -> Iterable[str]:
    """Every pattern for callsigns that stands in the conditions, `@group` too."""
    for when in conditions:
        if when is not None:
            for patterns in (when.source, when.destination, when.via, when.addressee):
                yield from patterns or ()
            yield from patterns_in([when.not_])
