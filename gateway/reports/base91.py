"""Numbers in base 91: the printable characters `!` to `{` as digits 0 to 90 (APRS101 chapter 9)."""

BASE = 91
FIRST = 33
"""The octet of the digit 0."""
LAST = FIRST + BASE - 1


def number(digits: bytes) -> int:
    """The value of `digits`, the most significant first. The caller has made sure that each is one (`!` to `{`)."""
    value = 0
    for digit in digits:
        value = value * BASE + digit - FIRST
    return value
