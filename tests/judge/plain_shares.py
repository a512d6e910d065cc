"""Fair shares reckoned plainly, in fractions, from every arrival: the quick ones of the judge are held to them.

Ours, after Bertsekas and Gallager, Data Networks, section 6.5.2: the level is found by halving, not by a sorted walk.
"""

from collections import Counter
from fractions import Fraction

HALVINGS = 60


def level_of(offered: list[Fraction], room: Fraction) -> Fraction | None:
    """The level at which what is offered, each cut to it, adds up to `room`; None where there is room for all."""
    if sum(offered) <= room:
        return None
    low, high = Fraction(0), max(offered)
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if sum(min(amount, middle) for amount in offered) <= room else (low, middle)
    return low


class PlainShares:
    """Who is within its share of `amount` frames per `period_ms`, at two frames at once."""

    def __init__(self, amount: int, period_ms: int) -> None:
        self.window_ms = max(60_000, min(2 * period_ms, 3_600_000))
        self.per_window = Fraction(amount * self.window_ms, period_ms)
        self.arrivals: list[tuple[str, int]] = []
        self.level: Fraction | None = None
        self.ahead_at: dict[str, tuple[Fraction, int]] = {}
        self.since_ms = self.began_ms = self.looked_ms = -10 * self.window_ms

    def offer(self, source: str, now_ms: int) -> bool:
        """Count a frame; whether it is within its source's share."""
        if now_ms >= self.began_ms + 2 * self.window_ms:
            self.since_ms = self.began_ms = self.looked_ms = now_ms
            self.arrivals, self.level, self.ahead_at = [], None, {}
        elif now_ms >= self.began_ms + self.window_ms:
            last = {source for source, at_ms in self.arrivals if at_ms >= self.began_ms}
            self.ahead_at = {source: ahead for source, ahead in self.ahead_at.items() if source in last}
            self.began_ms += self.window_ms
        self.arrivals.append((source, now_ms))
        if now_ms >= self.looked_ms + self.window_ms // 60:
            self._look(now_ms)
        return self.level is None or self.ahead(source, now_ms) <= 1

    def took(self, source: str, now_ms: int) -> None:
        """The frame that was offered goes up."""
        self.ahead_at[source] = (self.ahead(source, now_ms) + 1, now_ms)

    def _look(self, now_ms: int) -> None:
        left = Fraction(self.began_ms + self.window_ms - now_ms, self.window_ms)
        part = min(Fraction(1), Fraction(now_ms - self.since_ms, self.window_ms))
        offered: Counter[str] = Counter()
        for source, at_ms in self.arrivals:
            if at_ms >= self.began_ms:
                offered[source] += 1
            elif at_ms >= self.began_ms - self.window_ms:
                offered[source] += left  # type: ignore[assignment]  # Counter is typed for whole numbers alone
        level = level_of([Fraction(amount) for amount in offered.values()], self.per_window * part)
        settled = {source: (self.ahead(source, now_ms), now_ms) for source in self.ahead_at}
        if level is not None:
            level /= part
        self.ahead_at, self.level, self.looked_ms = settled, level, now_ms

    def ahead(self, source: str, now_ms: int) -> Fraction:
        ahead, at_ms = self.ahead_at.get(source, (Fraction(0), now_ms))
        level = self.per_window if self.level is None else self.level
        return max(Fraction(0), ahead - level * (now_ms - at_ms) / self.window_ms)
