"""A plausible listening post for tests: how many frames it hears, every two minutes, over months. Invented.

Fixed stations beacon day and night, commuters drive on weekdays, boats sail by day and more in summer; some days are
slow, some hours are good for propagation and some are not, and once a year there is a week of holidays.
"""

import math
import random
from collections.abc import Iterator
from dataclasses import dataclass, field

from gateway.frames.heard import Moment
from gateway.watches.quiet import Hearing, QuietWatch

MINUTE = 60_000
STEP = 2 * MINUTE
HOUR = 60 * MINUTE
DAY = 24 * HOUR
MONDAY_MS = 1_775_433_600_000
"""2026-04-06T00:00:00Z, a Monday: the start."""

DAY_OF_YEAR = 95

HOLIDAYS = range(80, 87)
"""Days after the start in which few are about, and nobody drives to work."""


@dataclass
class ListeningPost:
    """What one receiver hears. Figures are frames an hour at their best."""

    draw: int
    fixed: float = 6.0
    """From fixed stations, day and night."""

    boats: float = 20.0
    """At noon in summer."""

    commuters: int = 4
    """Cars, each with a frame a minute for half an hour, on weekdays at about eight and at about five."""

    dead: range = field(default_factory=lambda: range(0))
    """Milliseconds after the start between which the antenna hears next to nothing."""

    share: float = 0.0
    """How much of what there is it hears then."""

    off: range = field(default_factory=lambda: range(0))
    """Milliseconds after the start between which the power is cut."""

    def hear(self, days: int) -> Iterator[tuple[Moment, int]]:
        """Every `STEP` in which the gateway runs, and how many frames it brought."""
        # A test's own random numbers need no secrecy: ruff's S311 is off for tests.
        chance = random.Random(self.draw)
        for day in range(days):
            mood = chance.lognormvariate(0, 0.35) * (0.4 if day in HOLIDAYS else 1)
            trips = self._trips(chance, day)
            for hour in range(24):
                propagation = chance.lognormvariate(0, 0.4)
                for minute in range(0, 60, STEP // MINUTE):
                    at_ms = day * DAY + hour * HOUR + minute * MINUTE
                    rate = self._rate(day, hour) * mood * propagation
                    rate += sum(start <= hour * 60 + minute < start + 30 for start in trips)
                    rate *= STEP / MINUTE
                    if at_ms in self.dead:
                        rate *= self.share
                    frames = poisson(chance, rate)
                    if at_ms not in self.off:
                        yield Moment(at_ms, MONDAY_MS + at_ms), frames

    def _rate(self, day: int, hour: int) -> float:
        """Frames a minute that are there on an ordinary day."""
        summer = 0.55 - 0.45 * math.cos(2 * math.pi * (day + DAY_OF_YEAR) / 365)
        weekend = 2.0 if day % 7 >= 5 else 1.0
        daylight = max(0.0, math.sin(math.pi * (hour - 5) / 16)) if 5 <= hour <= 21 else 0.0
        return (self.fixed * (0.6 + 0.4 * daylight) + self.boats * summer * weekend * daylight) / 60

    def _trips(self, chance: random.Random, day: int) -> list[float]:
        """The minutes of the day at which a car sets out."""
        if day % 7 >= 5 or day in HOLIDAYS:
            return []
        return [chance.gauss(hour * 60, 30) for _ in range(self.commuters) for hour in (8, 17) if chance.random() < 0.8]


def poisson(chance: random.Random, mean: float) -> int:
    """A number by the Poisson distribution (Knuth's way of multiplying until it is too small)."""
    limit, product, number = math.exp(-mean), chance.random(), 0
    while product > limit:
        product *= chance.random()
        number += 1
    return number


def listened(watch: QuietWatch, receiver: str, moment: Moment) -> Hearing:
    """How a receiver hears that listens, now being `moment`."""
    watch.listen(receiver, moment)
    return watch.hearing(receiver, moment)
