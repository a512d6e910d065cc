"""Watches what is heard, and the silence, for what the operator wants to be told of. No I/O, no clock.

One thing raises one alert. What lasts (a boat in an area) is told when it begins and, where the entry says `again`, for
as long as it goes on. It has ended once a frame says so and none has said otherwise for `SETTLED_MS`: a boat on the
line does not ring all day. What does not last (a text, a kind of frame) is told at most every `again`.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from gateway.alerts.alert import AlertKind, alert_object, emergency_alert
from gateway.alerts.conditions import AskedFrame, AskedOfFrames, labels_of
from gateway.alerts.entry import RESERVED_NAME, Alert
from gateway.alerts.episodes import Episode, Episodes, is_past
from gateway.alerts.raised import RaisedAlerts
from gateway.alerts.silences import Silences
from gateway.feed.heard_object import HeardPayload, Reader, heard_object
from gateway.feed.reader import NO_REPORT
from gateway.frames.frame import Frame
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.duration import DAY_MS, HOUR_MS, MINUTE_MS
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, counters
from gateway.groundwork.remembered import ENTRIES_OF_A_PIECE, Past
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

MAXIMUM_HEADERS = 4096
"""Headers about which the answers are remembered; past it all are forgotten, and asked afresh."""


class AlertWatch:
    """Raises alerts for emergencies and for the entries of `alerts:`. It is told of every frame, once.

    What was raised outlives a restart, as `remembered.Remembered` has it.
    """

    name = "alerts"
    version = 1

    def __init__(self, alerts: Sequence[Alert], post: Post, read: Reader, started: Moment) -> None:
        """`read` reads the report of a frame; silences count from `started` where nothing was heard."""
        self.revision = 0
        """How many frames were heard, alerts raised and ended."""

        self._has_news = False
        self._withheld = 0
        self._raised = dict.fromkeys(AlertKind, 0)
        self._started = started
        self._read = read
        self._origin = post.origin
        self._labels = labels_of(alerts)
        self._entries = tuple(
            AskedOfFrames(alert, self._labels) for alert in alerts if alert.silent is None and alert.deaf is None
        )
        self._headers = BoundedMapping[tuple[str, bytes], tuple[Traits, tuple[AskedOfFrames, ...]]](MAXIMUM_HEADERS)
        self._matches = Episodes()
        self._emergencies = Episodes()
        self._room = TokenBuckets(MOST_A_MINUTE, MINUTE_MS, MOST_A_MINUTE)
        self._silences = Silences(alerts, started)
        self._log = RaisedAlerts()
        self._names = frozenset({RESERVED_NAME, *(alert.name for alert in alerts)})

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
        return self._counted(self._raised_by(batch))

    def _raised_by(self, batch: Sequence[Judged]) -> list[PlainObject]:
        self.revision += len(batch)
        self._silences.hear(batch)
        alerts: list[PlainObject] = []
        looked_at = batch if self._entries else [judged for judged in batch if judged.emergency]
        for judged in looked_at:
            frame = judged.innermost
            if frame is None:  # a decoder's noise is nothing heard
                continue
            if judged.emergency and judged.counts_as_emergency:
                alerts += self._emergency(judged, frame)
            if self._entries and judged.verdict.reason not in NO_REPORT:
                alerts += self._asked_by_entries(judged, frame)
        return alerts

    def tick(self, moment: Moment) -> list[PlainObject]:
        """The alerts for silences, now being `moment`. To be asked every few seconds."""
        return self._counted(self._silences.tick(moment))

    def over(self, moment: Moment) -> list[str]:
        """The names of those that were raised, went on and are over since the last time, now being `moment`."""
        now = moment.elapsed_ms

        def has_ended(episode: Episode) -> bool:
            return now - episode.held_ms >= (SETTLED_MS if episode.has_stopped else FORGOTTEN_MS)

        ended = [
            *self._matches.over(has_ended),
            *self._emergencies.over(lambda episode: now - episode.held_ms >= LONGEST_WINDOW_MS),
            *self._silences.over(),
        ]
        for name, about in ended:
            self._log.is_over(name, about, moment.time_ms)
        self._note_news(len(ended))
        return [name for name, _ in ended]

    def raised(self, moment: Moment) -> list[PlainObject]:
        """The alerts raised lately in the plain form, with what became of them, now being `moment`."""
        return self._log.to_objects(moment)

    @property
    def every_ms(self) -> int:
        """What was raised or is over is kept at once, unless that is much: made-up callsigns must wear out no disk."""
        is_much = len(self._matches) + len(self._emergencies) > ENTRIES_OF_A_PIECE
        return 0 if self._has_news and not is_much else 1_800_000

    def dump(self) -> Iterator[PlainObject]:
        """What was raised about whom, and when those that should be heard were heard last."""
        self._has_news = False
        yield {"silences": self._silences.dump()}
        for name, episodes in (("matches", self._matches), ("emergencies", self._emergencies)):
            for entries in episodes.dump():
                yield {name: entries}
        for some in self._log.dump():
            yield {"raised": some}

    def restore(self, piece: Mapping[str, Any], past: Past[HeardPayload]) -> None:
        """Take it in; what is of another shape is left out, and so is what belongs to no entry any more."""
        self._silences.restore(piece.get("silences"), past.shift_ms)
        self._matches.restore(piece.get("matches"), {entry.name for entry in self._entries}, past.shift_ms)
        self._emergencies.restore(piece.get("emergencies"), {RESERVED_NAME}, past.shift_ms)
        self._log.restore(piece.get("raised"), self._names)

    def recall(self, heard: HeardPayload) -> None:
        """It was heard before the restart: what it raised was raised then."""
        withheld = self._withheld
        for alert in self._raised_by([heard.judged]):
            self._log.note(alert)
        self._withheld = withheld

    def _counted(self, alerts: list[PlainObject]) -> list[PlainObject]:
        for alert in alerts:
            self._raised[alert["kind"]] += 1
            self._log.note(alert)
        self._note_news(len(alerts))
        return alerts

    def _note_news(self, count: int) -> None:
        self.revision += count
        self._has_news |= count > 0

    def _asked_by_entries(self, judged: Judged, frame: Frame) -> Iterator[PlainObject]:
        traits, entries = self._asked_about(judged, frame)
        if entries:
            asked = AskedFrame(judged, frame, traits, self._origin, self._read)
            for entry in entries:
                yield from self._asked(entry, asked)

    def _asked_about(self, judged: Judged, frame: Frame) -> tuple[Traits, tuple[AskedOfFrames, ...]]:
        """What headers and receiver say of a frame, and the entries that look at such frames."""
        heard = judged.heard
        outermost = heard.frame.header if isinstance(heard.frame, Frame) else frame.header
        key = (heard.receiver, outermost.network)
        is_own = outermost is frame.header  # what a third-party frame holds differs from one to the next
        answers = self._headers.get(key) if is_own else None
        if answers is None:
            traits = Traits.of(heard.receiver, outermost, frame.header, self._labels)
            answers = traits, tuple(entry for entry in self._entries if entry.looks_at(traits))
            if is_own:
                self._headers[key] = answers
        return answers

    def _emergency(self, judged: Judged, frame: Frame) -> Iterator[PlainObject]:
        """Also for what the network's rules keep: whoever calls for help asks to be heard."""
        moment = judged.heard.moment
        episode = self._emergencies.renew((RESERVED_NAME, frame.source))
        begins = episode is None or moment.elapsed_ms - episode.held_ms >= LONGEST_WINDOW_MS
        if begins and not self._room.admits(RESERVED_NAME, moment.elapsed_ms):
            self._withheld += 1  # its next call is told, once there is room; the page and the counts hold it at once
            return
        if episode is None or begins:
            self._room.take(RESERVED_NAME, moment.elapsed_ms)
            episode = self._emergencies.begin(RESERVED_NAME, frame.source, moment)
        elif moment.elapsed_ms - episode.raised_ms < EMERGENCY_AGAIN_MS:
            episode.held_ms = moment.elapsed_ms
            return
        episode.held_ms = episode.raised_ms = moment.elapsed_ms
        yield emergency_alert(judged, heard_object(judged, self._read(judged)), repeated=not begins)

    def _asked(self, entry: AskedOfFrames, asked: AskedFrame) -> Iterator[PlainObject]:
        answer = entry.answer(asked)
        if answer is None:
            return
        judged = asked.judged
        now = judged.heard.moment.elapsed_ms
        episode = self._matches.renew((entry.name, asked.whom))
        if not answer.holds:
            if episode is not None:
                episode.has_stopped = True
            return
        begins = episode is None or _begins_anew(entry, episode, judged)
        due = begins or (entry.lasts and episode is not None and is_past(entry.again_ms, now - episode.raised_ms))
        if due and not self._room.admits(entry.name, now):
            self._withheld += 1
            return
        if episode is None or begins:
            episode = self._matches.begin(entry.name, asked.whom, judged.heard.moment, lasts=entry.lasts)
        episode.held_ms = now
        episode.has_stopped = False
        if due:
            episode.raised_ms = now
            self._room.take(entry.name, now)
            yield alert_object(
                AlertKind.MATCH,
                entry.name,
                judged.heard.moment,
                answer.what,
                since_ms=episode.since_ms if entry.lasts else None,
                repeated=not begins,
                heard=heard_object(judged, asked.report or None),
            )


def _begins_anew(entry: AskedOfFrames, episode: Episode, judged: Judged) -> bool:
    """Whether what was raised before is over, so that this is a new thing."""
    now = judged.heard.moment.elapsed_ms
    if entry.lasts:
        since_held = now - episode.held_ms
        return since_held >= FORGOTTEN_MS or (episode.has_stopped and since_held >= SETTLED_MS)
    gap = SETTLED_MS if entry.again_ms is None else entry.again_ms
    if judged.verdict.reason is Reason.DUPLICATE:
        gap = max(gap, LONGEST_WINDOW_MS)  # the frame itself may have raised the alert
    return now - episode.raised_ms >= gap
