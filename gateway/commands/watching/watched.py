"""All that a watch knows of a gateway, from what it was told so far; every memory is bounded. No I/O, no clock."""

from collections import deque
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

from gateway.commands.watching.published import Answering, Event, NoAnswer, Notice, Shown
from gateway.glance.shown import AlertShown, ForwardedShown, HealthShown, HeardShown, MissedShown
from gateway.groundwork.bounded import BoundedMapping

FRAMES = 200
STATIONS = 500
ALERTS = 20
EMERGENCIES = 20
"""Stations; of one the newest frame counts."""


@dataclass(frozen=True, slots=True)
class WatchedFrame:
    """A frame, and whether it is known to have gone up."""

    heard: HeardShown
    sent: bool = False


@dataclass(frozen=True, slots=True)
class WatchedStation:
    """A station as it was heard last; copies tell nothing new of it."""

    last: HeardShown
    placed: HeardShown | None
    """The last frame in which it told where it is; None: in none that is known."""


@dataclass(frozen=True, slots=True)
class SilentSince:
    """Since when the gateway does not answer, and why."""

    since: datetime
    trouble: NoAnswer


class Watched:
    """One gateway as it is known."""

    def __init__(self, callsign: str, address: str) -> None:
        self.callsign = callsign
        self.address = address
        self.answers = False
        self.silence: SilentSince | None = None
        """None: it answers, or was not asked yet."""

        self.health: HealthShown | None = None
        self.alerts: deque[AlertShown] = deque(maxlen=ALERTS)
        """The newest first, and of what is told again the newest alone; emergencies have their own place."""

        self.emergencies = BoundedMapping[str, HeardShown](EMERGENCIES)
        """By source, the newest last."""

        self.missed = 0
        self._frames = BoundedMapping[tuple[str, int], WatchedFrame](FRAMES)
        self._stations = BoundedMapping[str, WatchedStation](STATIONS)
        self._had_events = False

    @property
    def frames(self) -> list[WatchedFrame]:
        """The newest first."""
        return list(reversed(self._frames.values()))

    @property
    def stations(self) -> list[WatchedStation]:
        """The one heard last first."""
        return sorted(self._stations.values(), key=lambda station: station.last.time)[::-1]

    def remember_all(self, stations: Iterable[HeardShown], alerts: Iterable[AlertShown]) -> None:
        """What was so before this watch began: the last frames of stations, the alerts that hold."""
        for heard in stations:
            self.remember(heard)
        raised = {(alert.kind, alert.name, alert.about) for alert in self.alerts}
        for alert in alerts:
            if (alert.kind, alert.name, alert.about) not in raised:
                self._raise(alert)

    def remember(self, heard: HeardShown) -> None:
        """The last frame of a station, which may be from before this watch began."""
        before = self._stations.get(heard.source)
        if not heard.is_news or (before is not None and before.last.time > heard.time):
            return
        placed = heard if heard.report.is_of_its_sender else (None if before is None else before.placed)
        self._stations[heard.source] = WatchedStation(heard, placed)
        self._stations.move_to_end(heard.source)

    def take(self, event: Notice, now: datetime) -> None:
        """The gateway told something."""
        match event:
            case Answering():
                self.answers, self.silence = True, None
            case NoAnswer():
                self.answers = False
                self.silence = SilentSince(self.silence.since if self.silence else now, event)
            case Event():
                self._take_shown(event.shown)

    def _take_shown(self, shown: Shown) -> None:
        match shown:
            case HealthShown():
                self.health = shown
                return
            case HeardShown():
                self._hear(shown, sent=isinstance(shown, ForwardedShown))
            case AlertShown():
                self._raise(shown)
            case MissedShown() if self._had_events:
                # Who has just come asks for all that is remembered, and has not missed what is not.
                self.missed += shown.count
        self._had_events = True

    def _raise(self, alert: AlertShown) -> None:
        if alert.heard is not None:
            self._hear(alert.heard)
        if alert.kind == "emergency":
            return
        told_before = [one for one in self.alerts if (one.name, one.about) == (alert.name, alert.about)]
        for one in told_before:
            self.alerts.remove(one)
        self.alerts.appendleft(alert)

    def _hear(self, heard: HeardShown, *, sent: bool = False) -> None:
        key = (heard.run, heard.sequence)
        frame = self._frames.get(key)
        if frame is not None:
            self._frames[key] = replace(frame, sent=frame.sent or sent)
        if frame is not None or sent:  # what was sent was heard before: unknown, it is forgotten already
            return
        self._frames[key] = WatchedFrame(heard)
        self.remember(heard)
        if heard.counts_as_emergency:
            before = self.emergencies.get(heard.source)
            if before is None or before.time <= heard.time:
                self.emergencies[heard.source] = heard
                self.emergencies.move_to_end(heard.source)
