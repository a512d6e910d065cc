"""Whether one `when` covers another: every frame of which the narrow one holds is one of which the wide one holds.

The answer is sound, not complete: yes means surely; no means that it could not be shown.
"""

from collections.abc import Iterable, Mapping, Sequence
from fnmatch import fnmatchcase

from gateway.frames.header import without_ssid_0
from gateway.judge.conditions import MINUTES_A_DAY
from gateway.judge.policy import Conditions, Distance, Hops, Hours

Groups = Mapping[str, Sequence[str]]

MOST_HOPS = 8
FARTHEST_KM = 1e9


def covers(wide: Conditions | None, narrow: Conditions | None, groups: Groups) -> bool:
    """Whether `wide` surely holds of every frame of which `narrow` holds; None stands for no conditions."""
    if wide is None:
        return True
    if narrow is None:
        return False
    return all(_covers_key(key, wide, narrow, groups) for key in wide.model_fields_set)


def contradicts_itself(when: Conditions | None, groups: Groups) -> bool:
    """Whether no frame can meet `when`, since its `not` covers the rest of it."""
    if when is None or when.not_ is None:
        return False
    rest = when.model_fields_set - {"not_"}
    if not rest:
        return False
    return covers(when.not_, Conditions.model_construct(rest, **{key: getattr(when, key) for key in rest}), groups)


def _covers_key(  # noqa: PLR0911 - one for each kind of condition
    key: str, wide: Conditions, narrow: Conditions, groups: Groups
) -> bool:
    asked, known = getattr(wide, key), getattr(narrow, key)
    if asked is None:
        return True
    if known is None:
        return False
    match key:
        case "not_":  # what is denied here must be denied there
            return covers(known, asked, groups)
        case "source" | "destination" | "via" | "addressee":
            return _covers_patterns(_expanded(asked, groups), _expanded(known, groups))
        case "contains":
            return all(any(text.casefold() in inner.casefold() for text in asked) for inner in known)
        case "hours":
            return _minutes(known) <= _minutes(asked)
        case "hops":
            return _within(_hops(known), _hops(asked))
        case "distance":
            return _within(_distance(known), _distance(asked))
        case _:  # plain lists
            return set(known) <= set(asked)


def _expanded(patterns: Iterable[str], groups: Groups) -> list[str]:
    found: list[str] = []
    for pattern in patterns:
        members = groups.get(pattern[1:], ()) if pattern.startswith("@") else (pattern,)
        found.extend(without_ssid_0(member.upper()) for member in members)
    return found


def _covers_patterns(wide: Sequence[str], narrow: Sequence[str]) -> bool:
    plain = frozenset(wide)
    return all(pattern in plain or any(_covers_pattern(other, pattern) for other in wide) for pattern in narrow)


def _covers_pattern(wide: str, narrow: str) -> bool:
    if "[" in narrow:
        return wide == "*"
    if wide.endswith("*") and not set(wide[:-1]) & set("*?["):
        return narrow.startswith(wide[:-1])
    if set(narrow) & set("*?"):
        return False
    return fnmatchcase(narrow, wide)


def _minutes(spans: Iterable[Hours]) -> set[int]:
    return {minute for minute in range(MINUTES_A_DAY) if any(span.holds(minute) for span in spans)}


def _hops(hops: Hops) -> tuple[float, float]:
    return (hops.at_least or 0, MOST_HOPS if hops.at_most is None else hops.at_most)


def _distance(distance: Distance) -> tuple[float, float]:
    return (distance.beyond or 0, FARTHEST_KM if distance.within is None else distance.within)


def _within(inner: tuple[float, float], outer: tuple[float, float]) -> bool:
    return outer[0] <= inner[0] and inner[1] <= outer[1]
