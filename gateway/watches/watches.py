"""Everything that is watched of one post: its alerts and emergencies, its clock, how its receivers hear, how busily."""

from collections.abc import Collection, Iterable, Sequence

from gateway.alerts.entry import Alert
from gateway.alerts.watch import AlertWatch
from gateway.feed.heard_object import HeardPayload, Reader
from gateway.feed.stations import Stations
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import Answers, Part
from gateway.groundwork.remembered import Remembered
from gateway.judge.conditions import Post
from gateway.watches.activity import ActivityWatch
from gateway.watches.clock import ClockWatch
from gateway.watches.day import DayCounts
from gateway.watches.emergencies import Emergencies
from gateway.watches.quiet import QuietWatch, with_hearing
from gateway.watches.reach import ReachWatch


class Watches:
    """Told of every frame, in the order of hearing, whoever else is; asked now and then how things are.

    No clock of its own, and asking changes nothing: what time changes is changed by `tick`.
    """

    def __init__(
        self, alerts: Sequence[Alert], receivers: Collection[str], post: Post, read: Reader, started: Moment
    ) -> None:
        """`receivers` are those that hear the air: what a capture plays says nothing of an antenna."""
        self.emergencies = Emergencies()
        self._receivers = frozenset(receivers)
        self.alerts = AlertWatch(alerts, post, read, started)
        self._quiet = QuietWatch(receivers)
        self._clock = ClockWatch(started)
        self._activity = ActivityWatch()
        self._reach = ReachWatch(read)
        self._day = DayCounts()

    @property
    def answers(self) -> tuple[Answers, ...]:
        """Those that answer for a part."""
        return self.alerts, self._clock

    def hear(self, frames: Sequence[HeardPayload]) -> list[PlainObject]:
        """What one read of one receiver brought; gives back the alerts that it raises."""
        batch = [frame.judged for frame in frames]
        heard = batch[0].heard
        good = sum([judged.innermost is not None for judged in batch])
        self._activity.heard(heard.moment, len(batch))
        if good and heard.receiver in self._receivers:
            self._quiet.heard(heard.receiver, heard.moment, good)
        self._reach.hear(batch)
        for frame in frames:
            if frame.judged.emergency:
                self.emergencies.hear(frame)
        self._day.hear(frames)
        return self.alerts.hear(batch)

    def tick(self, moment: Moment, listening: Iterable[str]) -> list[PlainObject]:
        """Let time pass, now being `moment`; gives back the alerts for silences. To be done every few seconds.

        `listening` are the receivers that listen. One that does not is left out: its silence would be learnt.
        """
        for receiver in self._receivers.intersection(listening):
            self._quiet.listen(receiver, moment)
        self._clock.look(moment)
        self._reach.read(moment)
        return self.alerts.tick(moment)

    def with_hearing(self, part: Part, moment: Moment) -> Part:
        """A receiver, with how it hears."""
        if part.name not in self._receivers:
            return part
        return with_hearing(part, self._quiet.hearing(part.name, moment))

    def watched(self, moment: Moment, stations: Stations) -> dict[str, PlainObject]:
        """What is watched of the post as a whole, in the plain form: see `feed.health.Health.watched`."""
        return {
            "past_rates": self.emergencies.past_rates(),
            "today": self._day.today(moment),
            "activity": self._activity.now(moment, stations).to_object(),
            "reach": self._reach.reach().to_object(),
        }

    def memories(self) -> Sequence[Remembered[HeardPayload]]:
        """What is to be known again after a restart."""
        return [self.alerts, self._quiet, self._reach, self._day]

    def recollect(self, frames: Iterable[HeardPayload]) -> None:
        """These frames were heard last before a restart."""
        for frame in frames:
            self._activity.heard(frame.judged.heard.moment)
