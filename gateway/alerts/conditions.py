"""An entry of `alerts:` that asks about frames, made ready to be asked.

What it asks falls in two. Some of it says which frames it looks at: whose they are, how they came, what kind they are.
The rest is about something that lasts: a place, a distance, a value of the weather. Only a frame that reports all of
that can answer; a boat that sends a line of text has not left the harbour by it.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cached_property

from gateway.alerts.area import Area, Circle, Polygon
from gateway.alerts.entry import Alert, AreaEntry, Threshold
from gateway.feed.heard_object import Reader
from gateway.feed.reader import named_by
from gateway.frames.frame import Frame
from gateway.frames.plain import PlainObject
from gateway.judge.compiled import patterns_in
from gateway.judge.conditions import Compiled, Subject, Traits, compile_conditions, label_of
from gateway.judge.patterns import PatternIndex
from gateway.judge.policy import Conditions, asks_distance
from gateway.judge.verdict import Judged
from gateway.reports.distance import Origin


@dataclass
class AskedFrame:
    """A frame about which alerts are asked. What it reports is read when an entry first needs it."""

    judged: Judged
    frame: Frame
    """The innermost one."""

    traits: Traits
    origin: Origin | None
    read: Reader

    @cached_property
    def subject(self) -> Subject:
        """The frame as the policy's conditions ask about it."""
        return Subject(self.frame, self.judged.information, self.traits, self.judged.heard.moment.time_ms, self.origin)

    @cached_property
    def report(self) -> PlainObject:
        """What it reports, as it is published."""
        return self.read(self.judged) or {}

    @cached_property
    def whom(self) -> str:
        """Whom or what it is about: the station, or the thing that it placed on the map. No text to be shown."""
        return named_by(self.frame.source, self.report)


@dataclass(frozen=True, slots=True)
class Answer:
    """Whether what an entry asks holds, and if so what is the case, in plain words of ours."""

    holds: bool
    what: str = ""


_NO = Answer(holds=False)

_Test = Callable[[AskedFrame], str | None]
"""What is the case, in plain words, where it holds."""


class AskedOfFrames:
    """One entry at work."""

    def __init__(self, alert: Alert, labels: PatternIndex) -> None:
        self.name = alert.name
        self.again_ms = alert.again
        selects, lasts = _split(alert.when)
        self._selects = compile_conditions(selects, labels)
        self._needs_place = lasts is not None or alert.area is not None or alert.outside is not None
        self._thresholds = alert.weather.thresholds() if alert.weather else {}
        self._tests: list[_Test] = []
        if lasts is not None:
            self._tests.append(_distance_test(compile_conditions(lasts, labels)))
        if alert.area is not None:
            self._tests.append(_area_test(_area(alert.area), inside=True))
        if alert.outside is not None:
            self._tests.append(_area_test(_area(alert.outside), inside=False))
        self._tests += [_weather_test(field, threshold) for field, threshold in self._thresholds.items()]

    @property
    def lasts(self) -> bool:
        """Whether it asks about something that goes on from one frame to the next."""
        return bool(self._tests)

    def looks_at(self, traits: Traits) -> bool:
        """Whether frames with these headers, from this receiver, are ones that it asks about."""
        return self._selects.of_traits is None or self._selects.of_traits(traits)

    def answer(self, asked: AskedFrame) -> Answer | None:
        """What a frame at whose headers it looks says; None where it says nothing about what is asked."""
        if self._selects.of_subject is not None and not self._selects.of_subject(asked.subject):
            return None
        if not self._tests:
            return Answer(holds=True, what="a frame that this entry asks for was heard")
        report = asked.report
        if report.get("live") is False:  # its sender takes it off the map
            return _NO
        if (self._needs_place and "latitude" not in report) or any(field not in report for field in self._thresholds):
            return None
        words_of_tests = [test(asked) for test in self._tests]
        words = [what for what in words_of_tests if what is not None]
        return Answer(holds=True, what="; ".join(words)) if len(words) == len(words_of_tests) else _NO


def labels_of(alerts: Iterable[Alert]) -> PatternIndex:
    """The patterns for callsigns of all entries, by which traits are found."""
    labels = PatternIndex()
    for pattern in patterns_in(alert.when for alert in alerts):
        labels.add(pattern, label_of(pattern))
    return labels


def _split(when: Conditions | None) -> tuple[Conditions | None, Conditions | None]:
    """The conditions that say which frames are looked at, and those about the distance, which lasts."""
    if when is None or not asks_distance(when):
        return when, None
    of_distance = {"distance", "not_"} if asks_distance(when.not_) else {"distance"}
    others = set(type(when).model_fields) - of_distance
    return when.model_copy(update=dict.fromkeys(of_distance)), when.model_copy(update=dict.fromkeys(others))


def _distance_test(asked: Compiled) -> _Test:
    def test(frame: AskedFrame) -> str | None:
        if asked.of_traits is not None and not asked.of_traits(frame.traits):
            return None
        if asked.of_subject is not None and not asked.of_subject(frame.subject):
            return None
        kilometres = frame.report.get("distance_km")
        return "its distance is not known" if kilometres is None else f"it is {kilometres:.1f} km from the station"

    return test


def _area_test(area: Area, *, inside: bool) -> _Test:
    words = "it is in the area" if inside else "it is outside the area"

    def test(frame: AskedFrame) -> str | None:
        report = frame.report
        return words if area.holds(report["latitude"], report["longitude"]) is inside else None

    return test


def _weather_test(field: str, threshold: Threshold) -> _Test:
    def test(frame: AskedFrame) -> str | None:
        value = frame.report[field]
        return f"{field} is {value:g}" if threshold.holds(value) else None

    return test


def _area(written: AreaEntry) -> Area:
    if written.latitude is not None and written.longitude is not None and written.radius is not None:
        return Circle(written.latitude, written.longitude, written.radius)
    return Polygon([(corner.latitude, corner.longitude) for corner in written.corners or ()])
