"""A token bucket to judge ours by."""

from fractions import Fraction


class Plain:
    """A token bucket as it is told in words, in exact fractions."""

    def __init__(self, amount: int, period_ms: int, burst: int) -> None:
        self.rate, self.burst, self.level, self.at = Fraction(amount, period_ms), burst, Fraction(burst), 0

    def asks(self, elapsed_ms: int, leaving: Fraction = Fraction(0)) -> bool:
        self.level = min(Fraction(self.burst), self.level + self.rate * (elapsed_ms - self.at))
        self.at = elapsed_ms
        if self.level - 1 < leaving:
            return False
        self.level -= 1
        return True
