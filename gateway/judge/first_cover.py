"""Finds the first rule that covers a `when`, without asking all of them."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Protocol

from gateway.judge.coverage import PATTERN_KEYS, Coverage, Groups, covers_pattern, folded, prefix_of
from gateway.judge.policy import Conditions

_WILD = frozenset("*?[")


class _Asking(Protocol):
    """An entry of a policy that may ask for something."""

    @property
    def when(self) -> Conditions | None: ...


class _Labels:
    """Which patterns, and groups that hold such, cover a pattern."""

    def __init__(self) -> None:
        self._alike: dict[str, set[str]] = defaultdict(set)
        self._prefixes: dict[str, set[str]] = defaultdict(set)
        self._others: dict[str, set[str]] = defaultdict(set)

    def add(self, pattern: str, label: str) -> None:
        """Let `label` be found by what `pattern` covers."""
        self._alike[pattern].add(label)
        prefix = prefix_of(pattern)
        if prefix is not None:
            self._prefixes[prefix].add(label)
        elif not _WILD.isdisjoint(pattern):
            self._others[pattern].add(label)

    def find(self, pattern: str, coverage: Coverage) -> set[str]:
        """The labels of all that covers `pattern`. Raises `TooMuchToCompareError`."""
        covering = set(self._alike.get(pattern, ()))
        for length in range(len(pattern) + 1):
            covering |= self._prefixes.get(pattern[:length], set())
        if _WILD.isdisjoint(pattern):
            coverage.spend(len(self._others))
            for other, labels in self._others.items():
                if covers_pattern(other, pattern):
                    covering |= labels
        return covering


class FirstCover:
    """The rules, filed by the first callsign condition that each has; those that have none are asked every time."""

    def __init__(self, entries: Sequence[_Asking], coverage: Coverage, groups: Groups) -> None:
        self._entries = entries
        self._coverage = coverage
        self._labels = _Labels()
        self._by_label: dict[tuple[str, str], list[int]] = defaultdict(list)
        self._always: list[int] = []
        for name, patterns in groups.items():
            for pattern in patterns:
                self._labels.add(folded(pattern), f"@{name}")
        for place, entry in enumerate(entries):
            self._file(place, entry.when)

    def find(self, when: Conditions | None, before: int) -> int | None:
        """The place of the first entry before the place `before` that covers `when`; None where none is known to.

        Raises `TooMuchToCompareError`.
        """
        candidates = sorted(place for place in {*self._always, *self._filed(when)} if place < before)
        self._coverage.spend(len(candidates))
        return next((place for place in candidates if self._coverage.covers(self._entries[place].when, when)), None)

    def _file(self, place: int, when: Conditions | None) -> None:
        key = next((key for key in PATTERN_KEYS if when is not None and getattr(when, key) is not None), None)
        if key is None:
            self._always.append(place)
            return
        for pattern in getattr(when, key):
            label = pattern if pattern.startswith("@") else folded(pattern)
            if not pattern.startswith("@"):
                self._labels.add(label, label)
            self._by_label[key, label].append(place)

    def _filed(self, when: Conditions | None) -> Iterator[int]:
        """The entries whose callsign condition covers one pattern, at least, of the same condition of `when`."""
        if when is None:
            return
        for key in PATTERN_KEYS:
            pattern = self._coverage.first_pattern(when, key)
            for label in self._labels.find(pattern, self._coverage) if pattern is not None else ():
                yield from self._by_label.get((key, label), ())
