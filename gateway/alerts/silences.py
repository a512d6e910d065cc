"""Those that should be heard: when each was heard last, and what was told of its silence. No I/O, no clock."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from gateway.alerts.alert import AlertKind, alert_object
from gateway.alerts.entry import Alert
from gateway.alerts.episodes import is_past
from gateway.frames.heard import Moment
from gateway.frames.plain import HIGHEST_NUMBER, PlainObject
from gateway.groundwork.duration import in_words
from gateway.groundwork.remembered import listed
from gateway.judge.verdict import Judged


@dataclass(frozen=True, slots=True)
class Silence:
    """One that should be heard: a station, a receiver, or the whole post where both are None."""

    name: str
    limit_ms: int
    again_ms: int | None
    source: str | None = None
    receiver: str | None = None


class Silences:
    """When those that should be heard were heard last, and what was told of their silence."""

    def __init__(self, alerts: Sequence[Alert], started: Moment) -> None:
        self._awaited = tuple(_awaited(alerts))
        self._started = started
        self._post = started
        self._sources = {one.source: started for one in self._awaited if one.source is not None}
        self._receivers = {one.receiver: started for one in self._awaited if one.receiver is not None}
        self._raised: dict[Silence, int] = {}
        self._ended: list[tuple[str, str]] = []

    def hear(self, batch: Sequence[Judged]) -> None:
        """The frames of one read of one receiver."""
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

    def dump(self) -> PlainObject:
        """When they were heard last, and of whose silence is told."""
        heard: list[list[object]] = [["post", None, self._post.elapsed_ms, self._post.time_ms]]
        for kind, moments in (("source", self._sources), ("receiver", self._receivers)):
            heard += ([kind, name, moment.elapsed_ms, moment.time_ms] for name, moment in moments.items())
        raised = [[one.name, one.source, one.receiver, at_ms] for one, at_ms in self._raised.items()]
        return {"heard": heard, "raised": raised}

    def restore(self, plain: object, shift_ms: int) -> None:
        """Take it in; what is of another shape is left out, and so is what is awaited no more."""
        if not isinstance(plain, Mapping):
            return
        for entry in listed(plain.get("heard")):
            match entry:
                case [str(kind), str() | None as name, int(elapsed_ms), int(time_ms)] if 0 <= time_ms <= HIGHEST_NUMBER:
                    self._restore_heard(kind, name, Moment(min(elapsed_ms + shift_ms, 0), time_ms))
        awaited = {(one.name, one.source, one.receiver): one for one in self._awaited}
        for entry in listed(plain.get("raised")):
            match entry:
                case [str(name), str() | None as source, str() | None as receiver, int(at_ms)]:
                    if (name, source, receiver) in awaited:
                        self._raised[awaited[name, source, receiver]] = min(at_ms + shift_ms, 0)

    def _restore_heard(self, kind: str, name: str | None, moment: Moment) -> None:
        if kind == "post":
            self._post = moment
        elif kind == "source" and name in self._sources:
            self._sources[name] = moment
        elif kind == "receiver" and name in self._receivers:
            self._receivers[name] = moment

    def over(self) -> list[tuple[str, str]]:
        """Whose silence was told and is over since this was asked last: the entry, and the station or receiver."""
        ended, self._ended = self._ended, []
        return ended

    def tick(self, moment: Moment) -> list[PlainObject]:
        """The alerts for silences, now being `moment`."""
        alerts = []
        for awaited in self._awaited:
            last = self._last(awaited)
            if moment.elapsed_ms - last.elapsed_ms < awaited.limit_ms:
                if self._raised.pop(awaited, None) is not None:
                    self._ended.append((awaited.name, awaited.source or awaited.receiver or ""))
                continue
            raised = self._raised.get(awaited)
            if raised is None or is_past(awaited.again_ms, moment.elapsed_ms - raised):
                self._raised[awaited] = moment.elapsed_ms
                alerts.append(self._alert(awaited, last, moment, repeated=raised is not None))
        return alerts

    def _last(self, awaited: Silence) -> Moment:
        if awaited.source is not None:
            return self._sources[awaited.source]
        return self._post if awaited.receiver is None else self._receivers[awaited.receiver]

    def _alert(self, awaited: Silence, last: Moment, moment: Moment, *, repeated: bool) -> PlainObject:
        length = in_words(moment.elapsed_ms - last.elapsed_ms)
        span = f"in the {length} since the start" if last is self._started else f"for {length}"
        if awaited.source is not None:
            kind, what = AlertKind.SILENT, f"{awaited.source} was not heard {span}"
        elif awaited.receiver is not None:
            kind, what = AlertKind.DEAF, f"{awaited.receiver} heard nothing {span}"
        else:
            kind, what = AlertKind.DEAF, f"nothing was heard {span}"
        whom = {"source": awaited.source, "receiver": awaited.receiver}
        about = {key: name for key, name in whom.items() if name is not None}
        return alert_object(kind, awaited.name, moment, what, since_ms=last.time_ms, repeated=repeated, **about)


def _awaited(alerts: Sequence[Alert]) -> Iterator[Silence]:
    for alert in alerts:
        if alert.silent is not None:
            for source in dict.fromkeys(alert.silent.source):
                yield Silence(alert.name, alert.silent.for_, alert.again, source=source)
        elif alert.deaf is not None:
            yield Silence(alert.name, alert.deaf.for_, alert.again, receiver=alert.deaf.receiver)
