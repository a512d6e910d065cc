"""Whether the values of one group tend to be larger than those of another: the rank-sum test. Pure.

The test of Wilcoxon, Mann and Whitney (H. B. Mann, D. R. Whitney, Annals of Mathematical Statistics 18, 1947; from
memory) asks nothing of how values are distributed, which suits distances by radio. Two-sided; by the normal
approximation, with the correction for ties and the one for continuity. The tests hold it to a statistics library.
"""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

FEWEST_VALUES = 8
"""Of each group: with fewer the normal approximation is poor (ours, after common practice)."""

BY_CHANCE = 0.05
"""A difference that chance would make more often than this is told as none (common practice)."""


@dataclass(frozen=True, slots=True)
class RankSum:
    """The outcome of the test."""

    u: float
    """In so many of all pairs the value of the first group is the larger one; a tie counts half."""

    p: float
    """How likely chance alone makes a difference at least as large."""


def rank_sum(ours: Sequence[float], theirs: Sequence[float]) -> RankSum:
    """Test two groups, neither of them empty."""
    first, second = len(ours), len(theirs)
    both = first + second
    counts = Counter([*ours, *theirs])
    rank_of: dict[float, float] = {}
    passed = 0
    for value in sorted(counts):
        rank_of[value] = passed + (counts[value] + 1) / 2
        passed += counts[value]
    u = sum(rank_of[value] for value in ours) - first * (first + 1) / 2
    ties = sum(count**3 - count for count in counts.values())
    variance = first * second / 12 * (both + 1 - ties / (both * (both - 1)))
    if variance <= 0:  # all values are one
        return RankSum(u, 1.0)
    z = (abs(u - first * second / 2) - 0.5) / math.sqrt(variance)
    return RankSum(u, min(1.0, math.erfc(z / math.sqrt(2))))
