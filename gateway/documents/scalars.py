"""Which plain words are numbers, truth values or nothing: YAML 1.2's core schema, so `no` and `12:30` are text."""

import re
from collections.abc import Callable

Scalar = str | bool | int | float | None


def _integer(text: str) -> int:
    return int(text, {"0x": 16, "0o": 8}.get(text[:2], 10))


def _number(text: str) -> float:
    return float(text.lower().replace(".inf", "inf").replace(".nan", "nan"))


_FORMS: tuple[tuple[str, str, Callable[[str], Scalar]], ...] = (
    ("tTfF", "true|True|TRUE|false|False|FALSE", lambda text: text.lower() == "true"),
    ("-+0123456789", "[-+]?[0-9]{1,99}|0o[0-7]{1,99}|0x[0-9a-fA-F]{1,99}", _integer),
    (
        "-+0123456789.",
        (
            r"[-+]?(?:\.[0-9]{1,99}|[0-9]{1,99}(?:\.[0-9]{0,99})?)(?:[eE][-+]?[0-9]{1,9})?"
            r"|[-+]?\.(?:inf|Inf|INF)|\.(?:nan|NaN|NAN)"
        ),
        _number,
    ),
    ("~nN", "~|null|Null|NULL", lambda _: None),
)
"""What a form begins with, the form (YAML 1.2.2 section 10.3.2), and what makes the value.

More than 99 digits are no number here, since making one takes the square of their count.
"""

_BY_FIRST: dict[str, list[tuple[re.Pattern[str], Callable[[str], Scalar]]]] = {"": [(re.compile(""), lambda _: None)]}
for _firsts, _form, _make in _FORMS:
    for _first in _firsts:
        _BY_FIRST.setdefault(_first, []).append((re.compile(_form), _make))


def plain_value(text: str) -> Scalar:
    """What a plain word, one without quotation marks, means."""
    for pattern, make in _BY_FIRST.get(text[:1], ()):
        if pattern.fullmatch(text) is not None:
            return make(text)
    return text
