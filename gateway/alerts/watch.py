"""Watches what is heard, and the silence, for what the operator wants to be told of. No I/O, no clock.

One thing raises one alert. What lasts (a boat in an area) is told when it begins and, where the entry says `again`, for
as long as it goes on. It has ended once a frame says so and none has said otherwise for `SETTLED_MS`: a boat on the
line does not ring all day. What does not last (a text, a kind of frame) is told at most every `again`.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from gateway.alerts.alert import AlertKind, deaf_alert, emergency_alert, match_alert, silent_alert
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
from gateway.part import Figure, Part, PartKind, State, counter, counters

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

MAXIMUM_EPISODES = 10_000
"""Stations about which an alert was raised, about 4 MB; past it the one raised least lately is forgotten."""

MAXIMUM_HEADERS = 4096
"""Headers about which the answers are remembered; past it all are forgotten, and asked afresh."""

_NOT_OF_THIS_NETWORK = frozenset({Reason.NOT_UI, Reason.WRONG_PID})
"""The information of such a frame is no report, whatever it looks like."""


@dataclass(slots=True)
class _Episode:
    """One thing that raised an alert. Elapsed times but for `since_ms`, which is Unix milliseconds."""

    since_ms: int
    raised_ms: int
    """When its alert was raised last."""

    held_ms: int
    """When it held last."""

    has_stopped: bool = False
    """A frame has said that it holds no more."""

    is_over: bool = False


class _Episodes(BoundedMapping[tuple[str, str], _Episode]):
    """The last episode of each entry and station."""

    def __init__(self) -> None:
        super().__init__(MAXIMUM_EPISODES)

    def begin(self, name: str, whom: str, moment: Moment, *, lasts: bool = True) -> _Episode:
        episode = _Episode(moment.time_ms, moment.elapsed_ms, moment.elapsed_ms, is_over=not lasts)
        self[name, whom] = episode
        self.move_to_end((name, whom))
        return episode

    def over(self, has_ended: Callable[[_Episode], bool]) -> Iterator[str]:
        """The entries of those that have ended since this was asked last."""
        for (name, _), episode in self.items():
            if not episode.is_over and has_ended(episode):
                episode.is_over = True
                yield name


class AlertWatch:
    """Raises alerts for emergencies and for the entries of `alerts:`. It is told of every frame, once."""

    def __init__(self, alerts: Sequence[Alert], post: Post, read: Reader, started: Moment) -> None:
        """`read` reads the report of a frame; silences count from `started` where nothing was heard."""
        self._withheld = 0
        self._raised = dict.fromkeys(AlertKind, 0)
        self._started = started
        self._read = read
        self._origin = post.origin
        self._labels = labels_of(alerts)
        self._entries = tuple(
            AskedOfFrames(alert, self._labels) for alert in alerts if alert.silent is None and alert.deaf is None
        )
        self._headers = BoundedMapping[tuple[str, str], tuple[Traits, tuple[AskedOfFrames, ...]]](MAXIMUM_HEADERS)
        self._matches = _Episodes()
        self._emergencies = _Episodes()
        self._room = TokenBuckets(MOST_A_MINUTE, MINUTE_MS, MOST_A_MINUTE)
        self._silences = _Silences(alerts, started)

    def part(self) -> Part:
        """It works as long as the gateway does."""
        return Part(PartKind.ALERTS, PartKind.ALERTS, State.OK, self._started.time_ms)

    def figures(self) -> Sequence[Figure]:
        """How many alerts were raised, and how many were not."""
        return [
            *counters("alerts", "alert", self._raised, "Alerts raised, those told again too, by kind."),
            counter("withheld", self._withheld, "Alerts not raised, as their entry had raised too many."),
        ]

    def hear(self, batch: Sequence[Judged]) -> list[PlainObject]:
        """The alerts that the frames of one read of one receiver raise."""
        self._silences.hear(batch)
        alerts: list[PlainObject] = []
        for judged in batch:
            frame = judged.innermost
            if frame is None:  # a decoder's noise is nothing heard
                continue
            if judged.emergency and judged.counts_as_emergency:
                alerts += self._emergency(judged, frame)
            if self._entries and judged.verdict.reason not in _NOT_OF_THIS_NETWORK:
                alerts += self._asked_by_entries(judged, frame)
        return self._counted(alerts)

    def tick(self, moment: Moment) -> list[PlainObject]:
        """The alerts for silences, now being `moment`. To be asked every few seconds."""
        return self._counted(self._silences.tick(moment))

    def over(self, moment: Moment) -> list[str]:
        """The names of those that were raised, went on and are over since the last time, now being `moment`."""
        now = moment.elapsed_ms

        def has_ended(episode: _Episode) -> bool:
            return now - episode.held_ms >= (SETTLED_MS if episode.has_stopped else FORGOTTEN_MS)

        return [
            *self._matches.over(has_ended),
            *self._emergencies.over(lambda episode: now - episode.held_ms >= LONGEST_WINDOW_MS),
            *self._silences.over(),
        ]

    def _counted(self, alerts: list[PlainObject]) -> list[PlainObject]:
        for alert in alerts:
            self._raised[alert["kind"]] += 1
        return alerts

    def _asked_by_entries(self, judged: Judged, frame: Frame) -> Iterator[PlainObject]:
        traits, entries = self._asked_about(judged, frame)
        if entries:
            seen = Seen(judged, frame, traits, self._origin, self._read)
            for entry in entries:
                yield from self._asked(entry, seen)

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
        episode = self._emergencies.renew(("emergency", frame.source))
        begins = episode is None or moment.elapsed_ms - episode.held_ms >= LONGEST_WINDOW_MS
        if episode is None or begins:
            episode = self._emergencies.begin("emergency", frame.source, moment)
        elif moment.elapsed_ms - episode.raised_ms < EMERGENCY_AGAIN_MS:
            episode.held_ms = moment.elapsed_ms
            return
        episode.held_ms = episode.raised_ms = moment.elapsed_ms
        yield emergency_alert(judged, heard_object(judged, self._read(judged)), repeated=not begins)

    def _asked(self, entry: AskedOfFrames, seen: Seen) -> Iterator[PlainObject]:
        answer = entry.answer(seen)
        if answer is None:
            return
        judged = seen.judged
        now = judged.heard.moment.elapsed_ms
        episode = self._matches.renew((entry.name, seen.whom))
        if not answer.holds:
            if episode is not None:
                episode.has_stopped = True
            return
        begins = episode is None or _begins_anew(entry, episode, judged)
        due = begins or (entry.lasts and episode is not None and _is_past(entry.again_ms, now - episode.raised_ms))
        if due and not self._room.admits(entry.name, now):
            self._withheld += 1
            return
        if episode is None or begins:
            episode = self._matches.begin(entry.name, seen.whom, judged.heard.moment, lasts=entry.lasts)
        episode.held_ms = now
        episode.has_stopped = False
        if due:
            episode.raised_ms = now
            self._room.take(entry.name, now)
            plain = heard_object(judged, seen.report or None)
            since_ms = episode.since_ms if entry.lasts else None
            yield match_alert(entry.name, judged, plain, answer.what, since_ms=since_ms, repeated=not begins)


def _begins_anew(entry: AskedOfFrames, episode: _Episode, judged: Judged) -> bool:
    """Whether what was raised before is over, so that this is a new thing."""
    now = judged.heard.moment.elapsed_ms
    if entry.lasts:
        since_held = now - episode.held_ms
        return since_held >= FORGOTTEN_MS or (episode.has_stopped and since_held >= SETTLED_MS)
    gap = SETTLED_MS if entry.again_ms is None else entry.again_ms
    if judged.verdict.reason is Reason.DUPLICATE:
        gap = max(gap, LONGEST_WINDOW_MS)  # the frame itself may have raised the alert
    return now - episode.raised_ms >= gap


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
        self._ended: list[str] = []

    def hear(self, batch: Sequence[Judged]) -> None:
        if not self._awaited:
            return
        sources = [judged.innermost.source for judged in batch if judged.innermost is not None]
        if not sources:
            return
        heard = batch[0].heard
        self._post = heard.moment
        if heard.receiver in self._receivers:
            self._receivers[heard.receiver] = heard.moment
        for source in self._sources.keys() & sources:
            self._sources[source] = heard.moment

    def over(self) -> list[str]:
        ended, self._ended = self._ended, []
        return ended

    def tick(self, moment: Moment) -> list[PlainObject]:
        alerts = []
        for awaited in self._awaited:
            last = self._last(awaited)
            if moment.elapsed_ms - last.elapsed_ms < awaited.limit_ms:
                if self._raised.pop(awaited, None) is not None:
                    self._ended.append(awaited.name)
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
