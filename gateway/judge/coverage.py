"""Whether one `when` covers another: every frame of which the narrow one holds is one of which the wide one holds.

The answer is sound, not complete: yes means surely; no means that it could not be shown.
"""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from fnmatch import translate
from functools import lru_cache

from gateway.frames.header import without_ssid_0
from gateway.judge.conditions import MINUTES_A_DAY
from gateway.judge.policy import Conditions, Distance, Hops, Hours

Groups = Mapping[str, Sequence[str]]

MOST_HOPS = 8
FARTHEST_KM = 1e9

MOST_STEPS = 1_000_000
"""About so many patterns are compared, which takes a second or two; 10,000 rules for a callsign each need a tenth."""

STEPS_OF_A_QUESTION = 10
"""What asking about two `when` costs besides, in comparisons of patterns."""

PATTERN_KEYS = ("source", "destination", "via", "addressee")

_WILD = frozenset("*?[")


class TooMuchToCompareError(Exception):
    """The question would take longer than its answer is worth."""


class Coverage:
    """Answers for one policy, until it has made as many comparisons as it may."""

    def __init__(self, groups: Groups, most_steps: int = MOST_STEPS) -> None:
        self._groups = groups
        self.steps_left = most_steps

    def covers(self, wide: Conditions | None, narrow: Conditions | None) -> bool:
        """Whether `wide` surely holds of every frame of which `narrow` holds; None stands for no conditions.

        Raises `TooMuchToCompareError`, as does every method.
        """
        self.spend(STEPS_OF_A_QUESTION)
        if wide is None:
            return True
        if narrow is None:
            return False
        keys = sorted(wide.model_fields_set, key=PATTERN_KEYS.__contains__)  # what is asked at no cost comes first
        return all(self._covers_key(key, wide, narrow) for key in keys)

    def contradicts_itself(self, when: Conditions | None) -> bool:
        """Whether no frame can meet `when`, since its `not` covers the rest of it."""
        if when is None or when.not_ is None:
            return False
        rest = when.model_fields_set - {"not_"}
        if not rest:
            return False
        return self.covers(when.not_, Conditions.model_construct(rest, **{key: getattr(when, key) for key in rest}))

    def first_pattern(self, when: Conditions, key: str) -> str | None:
        """One pattern, folded, that what covers `when` must cover, too; None where it asks nothing under `key`."""
        return next(self._each(getattr(when, key) or ()), None)

    def _covers_key(  # noqa: PLR0911 - one for each kind of condition
        self, key: str, wide: Conditions, narrow: Conditions
    ) -> bool:
        asked, narrower = getattr(wide, key), getattr(narrow, key)
        if asked is None:
            return True
        if narrower is None:
            return False
        match key:
            case "not_":  # what is denied here must be denied there
                return self.covers(narrower, asked)
            case "source" | "destination" | "via" | "addressee":
                return self._covers_patterns(asked, narrower)
            case "contains":
                self.spend(len(asked) * len(narrower))
                return all(any(text.casefold() in inner.casefold() for text in asked) for inner in narrower)
            case "hours":
                return _minutes(tuple(narrower)) <= _minutes(tuple(asked))
            case "hops":
                return _within(_hops(narrower), _hops(asked))
            case "distance":
                return _within(_distance(narrower), _distance(asked))
            case _:  # plain lists
                return set(narrower) <= set(asked)

    def _covers_patterns(self, asked: Sequence[str], narrower: Sequence[str]) -> bool:
        if set(narrower) <= set(asked):  # a group covers itself, however long
            return True
        wide, narrow = [*self._each(asked)], [*self._each(narrower)]
        self.spend(len(wide) + len(narrow))
        plain = frozenset(wide)
        wild = [pattern for pattern in wide if not _WILD.isdisjoint(pattern)]
        for pattern in narrow:
            if pattern in plain:
                continue
            self.spend(len(wild))
            if not any(covers_pattern(other, pattern) for other in wild):
                return False
        return True

    def _each(self, patterns: Iterable[str]) -> Iterator[str]:
        for pattern in patterns:
            yield from map(folded, self._groups.get(pattern[1:], ()) if pattern.startswith("@") else (pattern,))

    def spend(self, steps: int) -> None:
        """Note that so many comparisons are made."""
        self.steps_left -= steps
        if self.steps_left < 0:
            raise TooMuchToCompareError


def folded(pattern: str) -> str:
    """A pattern as it is compared: in capitals, and without SSID 0."""
    return without_ssid_0(pattern.upper())


def prefix_of(pattern: str) -> str | None:
    """What every callsign that matches begins with, where that is all that is asked: `QA1` of `QA1*`."""
    return pattern[:-1] if pattern.endswith("*") and _WILD.isdisjoint(pattern[:-1]) else None


def covers_pattern(wide: str, narrow: str) -> bool:
    """Whether every callsign that matches `narrow` matches `wide`, both folded."""
    if "[" in narrow:
        return wide == "*"
    prefix = prefix_of(wide)
    if prefix is not None:
        return narrow.startswith(prefix)
    return _WILD.isdisjoint(narrow) and _expression(wide).match(narrow) is not None


@lru_cache(65_536)
def _expression(pattern: str) -> re.Pattern[str]:
    return re.compile(translate(pattern))


@lru_cache(1024)
def _minutes(spans: tuple[Hours, ...]) -> frozenset[int]:
    return frozenset(minute for minute in range(MINUTES_A_DAY) if any(span.holds(minute) for span in spans))


def _hops(hops: Hops) -> tuple[float, float]:
    return (hops.at_least or 0, MOST_HOPS if hops.at_most is None else hops.at_most)


def _distance(distance: Distance) -> tuple[float, float]:
    return (distance.beyond or 0, FARTHEST_KM if distance.within is None else distance.within)


def _within(inner: tuple[float, float], outer: tuple[float, float]) -> bool:
    return outer[0] <= inner[0] and inner[1] <= outer[1]
