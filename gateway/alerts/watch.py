"""Watches what is heard, and the silence, for what the operator wants to be told of. No I/O, no clock.

One thing raises one alert. What lasts (a boat in an area) is told when it begins and, where the entry says `again`, for
as long as it goes on. It has ended once a frame says so and none has said otherwise for `SETTLED_MS`: a boat on the
line does not ring all day. What does not last (a text, a kind of frame) is told at most every `again`.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from gateway.alerts.alert import deaf_alert, emergency_alert, match_alert, silent_alert
from gateway.alerts.conditions import AskedOfFrames, Seen, labels_of
from gateway.alerts.entry import Alert
from gateway.bounded import BoundedMapping
from gateway.duration import DAY_MS, HOUR_MS, MINUTE_MS, in_words
from gateway.feed.heard_object import Reader, heard_object
from gateway.frames.frame import Frame
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.judge.conditions import Post, Traits
from gateway.judge.rates import TokenBuckets
from gateway.judge.verdict import Judged, Reason

SETTLED_MS = 10 * MINUTE_MS
"""So long must something have stopped to be told when it begins anew; also how often what does not last is told."""

FORGOTTEN_MS = DAY_MS
"""Who was not heard for so long begins anew."""

EMERGENCY_AGAIN_MS = 5 * MINUTE_MS
"""An emergency that goes on is told again at most so often."""

LONGEST_WINDOW_MS = HOUR_MS
"""A copy of a frame comes no later than this after it: the longest window that a policy can give."""

MOST_A_MINUTE = 30
"""Alerts of one entry. Made-up callsigns without end raise no more; what is withheld is counted."""

MAXIMUM_TOLD = 10_000
"""Stations about which something was told, about 4 MB; past it the one told of least lately is forgotten."""

MAXIMUM_HEADERS = 4096
"""Headers about which the answers are remembered; past it all are forgotten, and asked afresh."""

_NOT_OF_THIS_NETWORK = frozenset({Reason.NOT_UI, Reason.WRONG_PID})
"""The information of such a frame is no report, whatever it looks like."""


@dataclass(slots=True)
class _Told:
    """What was told about one station for one entry. Elapsed times but for `since_ms`, which is Unix milliseconds."""

    since_ms: int
    raised_ms: int
    held_ms: int
    """When it held last."""

    stopped: bool = False
    """A frame has said that it holds no more."""


class _Memory(BoundedMapping[tuple[str, str], _Told]):
    """What was told, by entry and station."""

    def __init__(self) -> None:
        super().__init__(MAXIMUM_TOLD)

    def begin(self, name: str, whom: str, moment: Moment) -> _Told:
        told = self[name, whom] = _Told(moment.time_ms, moment.elapsed_ms, moment.elapsed_ms)
        self.move_to_end((name, whom))
        return told


class AlertWatch:
    """Raises alerts for emergencies and for the entries of `alerts:`. It is told of every frame, once."""

    def __init__(self, alerts: Sequence[Alert], post: Post, read: Reader, started: Moment) -> None:
        """`read` reads the report of a frame; silences count from `started` where nothing was heard."""
        self.withheld = 0
        """Alerts that were not raised because their entry had raised too many."""

        self._read = read
        self._origin = post.origin
        self._labels = labels_of(alerts)
        self._entries = tuple(
            AskedOfFrames(alert, self._labels) for alert in alerts if alert.silent is None and alert.deaf is None
        )
        self._headers = BoundedMapping[tuple[str, str], tuple[Traits, tuple[AskedOfFrames, ...]]](MAXIMUM_HEADERS)
        self._matches = _Memory()
        self._emergencies = _Memory()
        self._room = TokenBuckets(MOST_A_MINUTE, MINUTE_MS, MOST_A_MINUTE)
        self._silences = _Silences(alerts, started)

    def heard(self, judged: Judged) -> list[PlainObject]:
        """The alerts that a frame raises."""
        frame = judged.innermost
        if frame is None:  # a decoder's noise is nothing heard
            return []
        self._silences.heard(frame.source, judged.heard.receiver, judged.heard.moment)
        alerts: list[PlainObject] = []
        if judged.counts_as_emergency:
            alerts += self._emergency(judged, frame)
        if self._entries and judged.verdict.reason not in _NOT_OF_THIS_NETWORK:
            traits, entries = self._asked_about(judged, frame)
            if entries:
                seen = Seen(judged, frame, traits, self._origin, self._read)
                alerts += [alert for entry in entries for alert in self._asked(entry, seen)]
        return alerts

    def tick(self, moment: Moment) -> list[PlainObject]:
        """The alerts for silences, now being `moment`. To be asked every few seconds."""
        return self._silences.tick(moment)

    def _asked_about(self, judged: Judged, frame: Frame) -> tuple[Traits, tuple[AskedOfFrames, ...]]:
        """What headers and receiver say of a frame, and the entries that look at such frames."""
        heard = judged.heard
        outermost = heard.frame.header if isinstance(heard.frame, Frame) else frame.header
        key = (heard.receiver, outermost.text)
        is_own = outermost is frame.header  # what a third-party frame holds differs from one to the next
        known = self._headers.get(key) if is_own else None
        if known is None:
            traits = Traits.of(heard.receiver, outermost, frame.header, self._labels)
            known = traits, tuple(entry for entry in self._entries if entry.looks_at(traits))
            if is_own:
                self._headers[key] = known
        return known

    def _emergency(self, judged: Judged, frame: Frame) -> Iterator[PlainObject]:
        """Also for what the network's rules keep: whoever calls for help asks to be heard."""
        moment = judged.heard.moment
        told = self._emergencies.renew(("emergency", frame.source))
        begins = told is None or moment.elapsed_ms - told.held_ms >= LONGEST_WINDOW_MS
        if told is None or begins:
            told = self._emergencies.begin("emergency", frame.source, moment)
        elif moment.elapsed_ms - told.raised_ms < EMERGENCY_AGAIN_MS:
            told.held_ms = moment.elapsed_ms
            return
        told.held_ms = told.raised_ms = moment.elapsed_ms
        yield emergency_alert(judged, heard_object(judged, self._read(judged)), repeated=not begins)

    def _asked(self, entry: AskedOfFrames, seen: Seen) -> Iterator[PlainObject]:
        answer = entry.answer(seen)
        if answer is None:
            return
        judged = seen.judged
        now = judged.heard.moment.elapsed_ms
        told = self._matches.renew((entry.name, seen.whom))
        if not answer.holds:
            if told is not None:
                told.stopped = True
            return
        begins = told is None or _begins_anew(entry, told, judged)
        due = begins or (entry.lasts and told is not None and _is_past(entry.again_ms, now - told.raised_ms))
        if due and not self._room.admits(entry.name, now):
            self.withheld += 1
            return
        if told is None or begins:
            told = self._matches.begin(entry.name, seen.whom, judged.heard.moment)
        told.held_ms = now
        told.stopped = False
        if due:
            told.raised_ms = now
            self._room.take(entry.name, now)
            plain = heard_object(judged, seen.report or None)
            since_ms = told.since_ms if entry.lasts else None
            yield match_alert(entry.name, judged, plain, answer.what, since_ms=since_ms, repeated=not begins)


def _begins_anew(entry: AskedOfFrames, told: _Told, judged: Judged) -> bool:
    """Whether what was told before is over, so that this is a new thing."""
    now = judged.heard.moment.elapsed_ms
    if entry.lasts:
        since_held = now - told.held_ms
        return since_held >= FORGOTTEN_MS or (told.stopped and since_held >= SETTLED_MS)
    gap = SETTLED_MS if entry.again_ms is None else entry.again_ms
    if judged.verdict.reason is Reason.DUPLICATE:
        gap = max(gap, LONGEST_WINDOW_MS)  # the frame itself may have raised the alert
    return now - told.raised_ms >= gap


def _is_past(limit_ms: int | None, passed_ms: int) -> bool:
    return limit_ms is not None and passed_ms >= limit_ms


@dataclass(frozen=True, slots=True)
class _Silence:
    """One that should be heard: a station, a receiver, or the whole post where both are None."""

    name: str
    limit_ms: int
    again_ms: int | None
    source: str | None = None
    receiver: str | None = None


class _Silences:
    """When those that should be heard were heard last, and what was told of their silence."""

    def __init__(self, alerts: Sequence[Alert], started: Moment) -> None:
        self._awaited = tuple(_awaited(alerts))
        self._started = started
        self._post = started
        self._sources = {one.source: started for one in self._awaited if one.source is not None}
        self._receivers = {one.receiver: started for one in self._awaited if one.receiver is not None}
        self._raised: dict[_Silence, int] = {}

    def heard(self, source: str, receiver: str, moment: Moment) -> None:
        self._post = moment
        if source in self._sources:
            self._sources[source] = moment
        if receiver in self._receivers:
            self._receivers[receiver] = moment

    def tick(self, moment: Moment) -> list[PlainObject]:
        alerts = []
        for awaited in self._awaited:
            last = self._last(awaited)
            if moment.elapsed_ms - last.elapsed_ms < awaited.limit_ms:
                self._raised.pop(awaited, None)
                continue
            raised = self._raised.get(awaited)
            if raised is None or _is_past(awaited.again_ms, moment.elapsed_ms - raised):
                self._raised[awaited] = moment.elapsed_ms
                alerts.append(self._alert(awaited, last, moment, repeated=raised is not None))
        return alerts

    def _last(self, awaited: _Silence) -> Moment:
        if awaited.source is not None:
            return self._sources[awaited.source]
        return self._post if awaited.receiver is None else self._receivers[awaited.receiver]

    def _alert(self, awaited: _Silence, last: Moment, moment: Moment, *, repeated: bool) -> PlainObject:
        length = in_words(moment.elapsed_ms - last.elapsed_ms)
        span = f"in the {length} since the start" if last is self._started else f"for {length}"
        if awaited.source is not None:
            what = f"{awaited.source} was not heard {span}"
            return silent_alert(awaited.name, awaited.source, moment, what, since_ms=last.time_ms, repeated=repeated)
        what = f"nothing was heard {span}" if awaited.receiver is None else f"{awaited.receiver} heard nothing {span}"
        return deaf_alert(awaited.name, awaited.receiver, moment, what, since_ms=last.time_ms, repeated=repeated)


def _awaited(alerts: Sequence[Alert]) -> Iterator[_Silence]:
    for alert in alerts:
        if alert.silent is not None:
            for source in dict.fromkeys(alert.silent.source):
                yield _Silence(alert.name, alert.silent.for_, alert.again, source=source)
        elif alert.deaf is not None:
            yield _Silence(alert.name, alert.deaf.for_, alert.again, receiver=alert.deaf.receiver)
