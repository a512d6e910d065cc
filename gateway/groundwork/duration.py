"""Lengths of time in the operator's words."""

SECOND_MS = 1000
MINUTE_MS = 60 * SECOND_MS
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS

_UNITS = ((DAY_MS, "d"), (HOUR_MS, "h"), (MINUTE_MS, "min"), (SECOND_MS, "s"))


def in_words(milliseconds: int) -> str:
    """`45 s`, `2 h`, `1 d 3 h`: the greatest unit and the one below it, what is left over cut off."""
    total = abs(milliseconds)
    for place, (length, unit) in enumerate(_UNITS):
        if total >= length:
            whole, rest = divmod(total, length)
            below = _UNITS[place + 1 : place + 2]
            more = [f"{rest // smaller} {name}" for smaller, name in below if rest >= smaller]
            return " ".join([f"{whole} {unit}", *more])
    return "0 s"
