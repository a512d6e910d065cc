"""Everything that is watched of one post: what raises alerts, how its receivers hear, its clock, how busy it is."""

from collections.abc import Collection, Iterable, Sequence

from gateway.alerts.entry import Alert
from gateway.alerts.watch import AlertWatch
from gateway.feed.heard_object import HeardPayload, Reader
from gateway.feed.stations import Stations
from gateway.frames.frame import Damaged
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.judge.conditions import Post
from gateway.judge.verdict import Judged
from gateway.part import Part, PartKind, State
from gateway.remembered import Remembered
from gateway.watches.activity import Activity, ActivityWatch
from gateway.watches.clock import ClockWatch
from gateway.watches.quiet import QuietWatch, with_hearing
from gateway.watches.reach import Reach, ReachWatch


class Watches:
    """Told of every frame, in the order of hearing; asked now and then how things are. No clock of its own."""

    def __init__(
        self, alerts: Sequence[Alert], receivers: Collection[str], post: Post, read: Reader, started: Moment
    ) -> None:
        """`receivers` are those that hear the air: what a capture plays says nothing of an antenna."""
        self._receivers = frozenset(receivers)
        self._alerts = AlertWatch(alerts, post, read, started)
        self._quiet = QuietWatch(receivers)
        self._clock = ClockWatch(started)
        self._activity = ActivityWatch()
        self._reach = ReachWatch(read)

    def heard(self, batch: Sequence[Judged]) -> list[PlainObject]:
        """What one read of one receiver brought; gives back the alerts that it raises."""
        heard = batch[0].heard
        frames = sum(not isinstance(judged.heard.frame, Damaged) for judged in batch)
        self._activity.heard(heard.moment, len(batch))
        if frames and heard.receiver in self._receivers:
            self._quiet.heard(heard.receiver, heard.moment, frames)
        alerts: list[PlainObject] = []
        for judged in batch:
            self._reach.heard(judged)
            alerts += self._alerts.heard(judged)
        return alerts

    def tick(self, moment: Moment) -> list[PlainObject]:
        """The alerts for silences, now being `moment`. To be asked every few seconds."""
        return self._alerts.tick(moment)

    def parts(self, parts: Iterable[Part], moment: Moment) -> list[Part]:
        """The parts, receivers with how they hear, and the clock after them. To be asked every few seconds."""
        return [self._with_hearing(part, moment) for part in parts] + [self._clock.part(moment)]

    def activity(self, moment: Moment, stations: Stations) -> Activity:
        """How busy the post is."""
        return self._activity.now(moment, stations)

    def reach(self, moment: Moment) -> Reach:
        """How far it hears."""
        return self._reach.now(moment)

    def memories(self) -> Sequence[Remembered[HeardPayload]]:
        """What is to be known again after a restart."""
        return [self._quiet]

    def _with_hearing(self, part: Part, moment: Moment) -> Part:
        """A receiver that does not listen is not asked what it hears: the silence would be learnt."""
        if part.kind is not PartKind.RECEIVER or part.state is not State.OK or part.name not in self._receivers:
            return part
        return with_hearing(part, self._quiet.state(part.name, moment))
