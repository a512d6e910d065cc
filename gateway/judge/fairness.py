"""Fair shares of a rate that several sources use: who babbles takes from itself, not from the others.

The share is max-min fair: what a source offers, but no more than a level that is the same for all and chosen so that
the shares add up to the rate (water-filling; Bertsekas and Gallager, Data Networks, 2nd edition, section 6.5.2). Each
source's offered rate is measured on arrival and held against that level, and what is over it is dropped on arrival, as
in core-stateless fair queueing (Stoica, Shenker and Zhang, SIGCOMM 1998); a bucket for each source stands in for its
random drop, since a verdict must not depend on chance. Nothing is ever queued.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from gateway.groundwork.duration import HOUR_MS, MINUTE_MS
from gateway.judge.state import SharesState

SHORTEST_WINDOW_MS = MINUTE_MS
LONGEST_WINDOW_MS = HOUR_MS
LOOKS_PER_WINDOW = 60
"""How often in a window the level is reckoned anew."""

MAXIMUM_SOURCES = 2700
"""Sources told apart in one window: under 1 MB for each bucket. Those beyond it share one place, and so one share.

A radio channel at its fullest, seven frames a second, needs more than six minutes to bring so many."""

OVERFLOW_SOURCE = ""

AT_ONCE = 2
"""Frames that a source may send at once out of its share, where there is not room for all."""


@dataclass(slots=True)
class _Use:
    """How far a source is ahead of its share, in frames, when it was last asked about."""

    ahead: float
    at_ms: int


class FairShares:
    """Tells which sources are within their share of `amount` frames per `period_ms`."""

    def __init__(self, amount: int, period_ms: int) -> None:
        self._window_ms = min(max(2 * period_ms, SHORTEST_WINDOW_MS), LONGEST_WINDOW_MS)
        self._room = amount * self._window_ms / period_ms
        self._since_ms: int | None = None
        self._began_ms = 0
        self._looked_ms = 0
        self._recent: dict[str, int] = {}
        self._earlier: dict[str, int] = {}
        self._recent_total = 0
        self._earlier_total = 0
        self._level: float | None = None
        self._uses: dict[str, _Use] = {}

    def offer(self, source: str, elapsed_ms: int) -> bool:
        """Count a frame that `source` offers; whether it is within the source's share."""
        self._turn(elapsed_ms)
        if source not in self._recent and len(self._recent) >= MAXIMUM_SOURCES:
            source = OVERFLOW_SOURCE
        self._recent[source] = self._recent.get(source, 0) + 1
        self._recent_total += 1
        if elapsed_ms - self._looked_ms >= self._window_ms // LOOKS_PER_WINDOW:
            self._look(elapsed_ms)
        if self._level is None:
            return True
        return self._ahead(source, elapsed_ms) + 1 <= AT_ONCE

    def took(self, source: str, elapsed_ms: int) -> None:
        """The frame that was offered goes up."""
        if source not in self._recent:
            source = OVERFLOW_SOURCE
        self._uses[source] = _Use(self._ahead(source, elapsed_ms) + 1, elapsed_ms)

    def state(self) -> SharesState:
        """All that it knows: another that takes it in answers alike for ever."""
        return SharesState.model_construct(
            since_ms=self._since_ms,
            began_ms=self._began_ms,
            looked_ms=self._looked_ms,
            recent=dict(self._recent),
            earlier=dict(self._earlier),
            level=self._level,
            uses={source: (use.ahead, use.at_ms) for source, use in self._uses.items()},
        )

    def resume(self, state: SharesState) -> None:
        """Take in what `state` gave out, in place of what was known."""
        self._since_ms, self._began_ms, self._looked_ms = state.since_ms, state.began_ms, state.looked_ms
        self._recent, self._earlier = dict(state.recent), dict(state.earlier)
        self._recent_total, self._earlier_total = sum(self._recent.values()), sum(self._earlier.values())
        self._level = state.level
        self._uses = {source: _Use(ahead, at_ms) for source, (ahead, at_ms) in state.uses.items()}

    def _ahead(self, source: str, elapsed_ms: int) -> float:
        use = self._uses.get(source)
        if use is None:
            return 0.0
        level = self._room if self._level is None else self._level
        return max(0.0, use.ahead - level * (elapsed_ms - use.at_ms) / self._window_ms)

    def _turn(self, elapsed_ms: int) -> None:
        """Begin a new window where the last one is over, or afresh where nothing was offered for longer than that."""
        passed = elapsed_ms - self._began_ms
        if self._since_ms is None or passed >= 2 * self._window_ms:
            self._since_ms = self._began_ms = self._looked_ms = elapsed_ms
            self._recent, self._earlier, self._uses, self._level = {}, {}, {}, None
            self._recent_total = self._earlier_total = 0
        elif passed >= self._window_ms:
            self._began_ms += self._window_ms
            self._earlier, self._recent = self._recent, {}
            self._earlier_total, self._recent_total = self._recent_total, 0
            self._uses = {source: use for source, use in self._uses.items() if source in self._earlier}

    def _look(self, elapsed_ms: int) -> None:
        """Reckon the level anew, from what was offered in the last window's length of time, or since the beginning."""
        self._looked_ms = elapsed_ms
        left = 1 - (elapsed_ms - self._began_ms) / self._window_ms
        share = min(1.0, (elapsed_ms - (self._since_ms or 0)) / self._window_ms)
        former, level = self._level, None
        if self._earlier_total * left + self._recent_total > self._room * share:  # else there is room for all
            offered = {source: count * left for source, count in self._earlier.items()}
            for source, count in self._recent.items():
                offered[source] = offered.get(source, 0.0) + count
            level = water_level(offered.values(), self._room * share)
        self._level = None if level is None else level / share
        if self._level != former:
            self._settle(elapsed_ms, former)

    def _settle(self, elapsed_ms: int, former: float | None) -> None:
        """What a source was ahead is reckoned with the level that was in force until now."""
        level = self._room if former is None else former
        for use in self._uses.values():
            use.ahead = max(0.0, use.ahead - level * (elapsed_ms - use.at_ms) / self._window_ms)
            use.at_ms = elapsed_ms


def water_level(offered: Iterable[float], room: float) -> float | None:
    """The level at which what is offered, each cut to it, adds up to `room`; None where there is room for all."""
    left, amounts = room, sorted(offered)
    for place, amount in enumerate(amounts):
        share = left / (len(amounts) - place)
        if amount > share:
            return share
        left -= amount
    return None
