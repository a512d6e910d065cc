"""Shell-style patterns for callsigns, held so that looking one up costs the same for ten patterns or 100,000."""

import re
from fnmatch import translate

from gateway.frames.header import without_ssid_0

_WILD_CHARACTERS = frozenset("*?[")
_WILD = re.compile(r"[*?\[]")
_NONE = frozenset[str]()


class PatternIndex:
    """Which labels belong to the patterns that a callsign matches.

    Patterns are shell-style, case folded. SSID 0 is not written: `QA1BCD` and `QA1BCD-0` both mean it alone,
    `QA1BCD-*` means any SSID, 0 too. Plain callsigns and patterns whose only wild part is a `*` at the end are found
    by dictionary; the few others are asked one by one.
    """

    def __init__(self) -> None:
        self._exact: dict[str, tuple[str, ...]] = {}
        self._prefixes: dict[str, tuple[str, ...]] = {}
        self._longest_prefix = 0
        self._others: list[tuple[re.Pattern[str], str]] = []

    def add(self, pattern: str, label: str) -> None:
        """Let callsigns that match `pattern` find `label`."""
        folded = pattern.upper()
        wild = None if _WILD_CHARACTERS.isdisjoint(folded) else _WILD.search(folded)
        if wild is None:
            self._add(self._exact, without_ssid_0(folded), label)
        elif folded.find("*") == wild.start() == len(folded) - 1:
            self._add(self._prefixes, folded[:-1], label)
            self._longest_prefix = max(self._longest_prefix, len(folded) - 1)
        else:
            self._others.append((re.compile(translate(folded)), label))

    def find(self, callsign: str) -> frozenset[str]:
        """The labels of all patterns that `callsign` matches."""
        if not (self._exact or self._prefixes or self._others):
            return _NONE
        folded = callsign.upper()
        forms = (folded,) if "-" in folded else (folded, f"{folded}-0")
        labels = set(self._exact.get(without_ssid_0(folded), ()))
        written_out = forms[-1]
        for length in range(min(len(written_out), self._longest_prefix) + 1):
            labels.update(self._prefixes.get(written_out[:length], ()))
        labels.update(label for expression, label in self._others if any(map(expression.match, forms)))
        return frozenset(labels) or _NONE  # shared: what is remembered of a header costs less

    @staticmethod
    def _add(table: dict[str, tuple[str, ...]], key: str, label: str) -> None:
        labels = table.get(key, ())
        if label not in labels:
            table[key] = (*labels, label)
