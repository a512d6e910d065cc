"""Conditions at work: what a policy's `when` asks, as predicates.

They are split into those that a header and the receiver answer, asked once per header, and those that need the frame.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import TypeVar

from gateway.frames.frame import Frame
from gateway.frames.header import Header
from gateway.frames.heard import Heard, Place
from gateway.groundwork.duration import DAY_MS, MINUTE_MS
from gateway.judge import policy as written
from gateway.judge.patterns import PatternIndex
from gateway.reports import Kind, Report, kind_of, read
from gateway.reports.distance import Origin

MINUTES_A_DAY = 24 * 60
REMEMBERED_TRAITS = 1024
"""Under a policy that lists no callsigns, all headers have a few traits between them."""

REMEMBERED_PLACES = 64
"""Posts of a club from which distances were asked last: about 1 MB each, if all that they hear moves."""


@dataclass(frozen=True, slots=True)
class Post:
    """Where and as whom the gateway listens, as far as verdicts depend on it."""

    callsign: str
    latitude: float | None = None
    """WGS 84 degrees."""

    longitude: float | None = None

    @property
    def origin(self) -> Origin | None:
        """The place from which distances are reckoned; None where it is not known."""
        if self.latitude is None or self.longitude is None:
            return None
        return Origin(self.latitude, self.longitude)


@lru_cache(REMEMBERED_PLACES)
def origin_at(place: Place) -> Origin:
    """The place of a post of a club, from which the distances of what it heard are reckoned."""
    return Origin(place.latitude, place.longitude)


def origin_of(heard: Heard, own: Origin | None) -> Origin | None:
    """From where the distances of a frame are reckoned: the post of a club that heard it, or else `own`."""
    if heard.place is not None:
        return origin_at(heard.place)
    return None if heard.post else own


@dataclass(frozen=True, slots=True)
class Traits:
    """What the headers and the receiver say of a frame, with the labels of the patterns that its callsigns match."""

    receiver: str
    hops: int
    source: frozenset[str]
    destination: frozenset[str]
    via: frozenset[str]

    @classmethod
    def of(cls, receiver: str, outermost: Header, innermost: Header, labels: PatternIndex) -> "Traits":
        """`via` and hops are those of the outermost header, the radio path; the rest is the innermost's."""
        of_repeaters = [labels.find(entry.callsign) for entry in outermost.path[: outermost.hops]]
        return _shared_traits(
            receiver,
            outermost.hops,
            labels.find(innermost.source),
            labels.find(innermost.destination),
            of_repeaters[0].union(*of_repeaters[1:]) if of_repeaters else _NO_LABELS,
        )


_NO_LABELS = frozenset[str]()
_shared_traits = lru_cache(REMEMBERED_TRAITS)(Traits)


@dataclass
class Subject:
    """A frame about which the policy is asked. Its report is read when a condition first needs it, and once."""

    frame: Frame
    """The innermost one."""

    information: bytes
    """Of that frame, up to its first line end: what would go up."""

    traits: Traits
    time_ms: int
    origin: Origin | None
    """The station; None where its position is not known."""

    _kind: Kind | None = None
    """Asked of every frame by many a policy: it is kept here, since a cached property takes a lock (Python 3.11)."""

    @property
    def kind(self) -> Kind:
        """What kind of report it is: that needs no more of it to be read, mostly."""
        if self._kind is None:
            self._kind = kind_of(self.frame.destination, self.information)
        return self._kind

    @cached_property
    def report(self) -> Report:
        """What the information field says."""
        return read(self.frame.destination, self.information)

    @cached_property
    def distance_km(self) -> float | None:
        """From the station to the reported position; None where either is not known."""
        position = self.report.position
        if position is None or self.origin is None:
            return None
        return self.origin.line_to(position.latitude, position.longitude).distance_km

    @cached_property
    def text(self) -> str:
        """The information as text, case folded."""
        return self.information.decode("utf-8", "replace").casefold()


_Asked = TypeVar("_Asked")
OfTraits = Callable[[Traits], bool]
OfSubject = Callable[[Subject], bool]


@dataclass(frozen=True, slots=True)
class Compiled:
    """A `when` at work: it holds when both parts hold; a part that asks nothing is None."""

    of_traits: OfTraits | None = None
    of_subject: OfSubject | None = None

    names: dict[str, frozenset[str]] = field(default_factory=dict)
    """Labels by which rules are found: `source`, `destination` or `via`, where asked for."""


def compile_conditions(when: written.Conditions | None, labels: PatternIndex) -> Compiled:
    """Turn a `when` into predicates. Every pattern of it must be in `labels` (see `label_of`)."""
    if when is None:
        return Compiled()
    wanted = {
        name: frozenset(map(label_of, patterns))
        for name, patterns in (("source", when.source), ("destination", when.destination), ("via", when.via))
        if patterns is not None
    }
    of_traits = _traits_predicates(when, wanted)
    of_subject = _subject_predicates(when, labels)
    if when.not_ is not None:
        denied = compile_conditions(when.not_, labels)
        if denied.of_subject is None:
            of_traits.append(_denied(denied))
        else:
            of_subject.append(_denied_of_subject(denied))
    return Compiled(_all(of_traits), _all(of_subject), wanted)


def label_of(pattern: str) -> str:
    """The label that a pattern, or `@group`, has in the index."""
    return pattern if pattern.startswith("@") else pattern.upper()


def _traits_predicates(when: written.Conditions, wanted: dict[str, frozenset[str]]) -> list[OfTraits]:
    predicates: list[OfTraits] = []
    if (source := wanted.get("source")) is not None:
        predicates.append(lambda traits: not source.isdisjoint(traits.source))
    if (destination := wanted.get("destination")) is not None:
        predicates.append(lambda traits: not destination.isdisjoint(traits.destination))
    if (via := wanted.get("via")) is not None:
        predicates.append(lambda traits: not via.isdisjoint(traits.via))
    if when.receiver is not None:
        receivers = frozenset(when.receiver)
        predicates.append(lambda traits: traits.receiver in receivers)
    if when.hops is not None:
        least, most = when.hops.at_least, when.hops.at_most
        predicates.append(
            lambda traits: (least is None or traits.hops >= least) and (most is None or traits.hops <= most)
        )
    return predicates


def _subject_predicates(when: written.Conditions, labels: PatternIndex) -> list[OfSubject]:
    """The cheap questions first: the first that does not hold ends the asking."""
    predicates: list[OfSubject] = []
    if when.days is not None:
        days = frozenset(list(written.Day).index(day) for day in when.days)
        predicates.append(lambda subject: weekday(subject.time_ms) in days)
    if when.hours is not None:
        spans = tuple(when.hours)
        predicates.append(lambda subject: any(span.holds(minute_of_day(subject.time_ms)) for span in spans))
    if when.contains is not None:
        texts = tuple(text.casefold() for text in when.contains)
        predicates.append(lambda subject: any(text in subject.text for text in texts))
    if when.report is not None:
        kinds = frozenset(when.report)
        predicates.append(lambda subject: subject.kind in kinds)
    if when.symbol is not None:
        symbols = frozenset(when.symbol)
        predicates.append(lambda subject: subject.report.symbol in symbols)
    if when.addressee is not None:
        addressees = frozenset(map(label_of, when.addressee))
        predicates.append(lambda subject: not addressees.isdisjoint(labels.find(subject.report.addressee or "")))
    if when.distance is not None:
        predicates.append(_distance(when.distance))
    return predicates


def _distance(asked: written.Distance) -> OfSubject:
    def holds(subject: Subject) -> bool:
        distance_km = subject.distance_km
        if distance_km is None:
            return False
        is_near = asked.within is None or distance_km <= asked.within
        return is_near and (asked.beyond is None or distance_km > asked.beyond)

    return holds


def _denied(denied: Compiled) -> OfTraits:
    asked = denied.of_traits
    return lambda traits: asked is not None and not asked(traits)


def _denied_of_subject(denied: Compiled) -> OfSubject:
    of_traits, of_subject = denied.of_traits, denied.of_subject
    return lambda subject: (
        not ((of_traits is None or of_traits(subject.traits)) and (of_subject is None or of_subject(subject)))
    )


def _all(predicates: list[Callable[[_Asked], bool]]) -> Callable[[_Asked], bool] | None:
    if len(predicates) <= 1:
        return predicates[0] if predicates else None
    every = tuple(predicates)
    return lambda asked: all(predicate(asked) for predicate in every)


def minute_of_day(time_ms: int) -> int:
    """Minute of the day in UTC, 0-1439."""
    return time_ms // MINUTE_MS % MINUTES_A_DAY


def weekday(time_ms: int) -> int:
    """Day of the week in UTC, Monday 0."""
    return (time_ms // DAY_MS + 3) % 7  # 1 January 1970 was a Thursday
