"""Joins all that is told of what is heard: what the feed remembers, the watches, and then every sink.

The watches are told of every frame, whether or not there is a sink. Nothing here ever makes the uplink wait: offers
return at once, and each sink runs, sheds and says so by itself.
"""

import asyncio
from collections.abc import Sequence

import structlog

from gateway.feed.health import Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.sink import RunningSink, Sink
from gateway.feed.stations import Stations
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.groundwork.kept_tasks import KeptTasks
from gateway.groundwork.remembered import Remembered
from gateway.running.faults import Doing, Faults
from gateway.watches.watches import Watches

FLOOD_FRAMES = 50
"""More than one read of a radio channel's decoder ever brings: about ten seconds of the busiest channel."""

FLOOD_MS = 50
"""For how long after such a read more of the same is expected."""

_log = structlog.get_logger("stile")


class House:
    """The house's side of one gateway. No fault of ours in it may keep a frame from the network."""

    def __init__(self, run: Run, reader: ReportReader, stations: Stations, watches: Watches, faults: Faults) -> None:
        """`add` then says who else is told."""
        self.stations = stations
        self.reader = reader
        self.watches = watches
        self._run = run
        self._faults = faults
        self._sinks: list[Sink] = []
        self._running: list[RunningSink] = []
        self._busy_until_ms = 0

    def add(self, sinks: Sequence[Sink]) -> None:
        """These are told, too, in this order; those that have work to do will be run."""
        self._sinks += sinks
        self._running += [sink for sink in sinks if isinstance(sink, RunningSink)]

    def hear(self, frames: Sequence[HeardPayload]) -> None:
        """What one read of one receiver brought was judged, and there is some: everybody is told."""
        if len(frames) >= FLOOD_FRAMES:
            self._busy_until_ms = frames[0].since_ms + FLOOD_MS
        if self._sinks:  # without one, nobody can ask for a station
            with self._faults.contained(Doing.TELLING, len(frames)):
                for payload in frames:
                    self.reader.telemetry.hear(payload.judged)
                    self.stations.hear(payload)
        with self._faults.contained(Doing.TELLING, len(frames)):
            for alert in self.watches.hear(frames):
                self._raise(alert)
        for sink in self._sinks:
            with self._faults.contained(Doing.TELLING, len(frames)):
                sink.offer(frames)

    def forwarded(self, frames: Sequence[HeardPayload]) -> None:
        """The lines of these frames were sent just now."""
        sent_at_ms = self._run.now().time_ms
        for sink in self._sinks:
            with self._faults.contained(Doing.TELLING, len(frames)):
                sink.offer_forwarded(frames, sent_at_ms)

    def tell_health(self, health: Health) -> None:
        """How the post is now."""
        if self._sinks:
            plain = health.to_object()
            for sink in self._sinks:
                with self._faults.contained(Doing.TELLING):
                    sink.offer_health(plain)

    def is_busy(self) -> bool:
        """Whether frames come in floods: then the house takes less of the one core, so that the uplink has it."""
        return self._run.now().elapsed_ms < self._busy_until_ms

    def tick(self, listening: Sequence[str]) -> None:
        """What is due from time to time; `listening` are the receivers that listen."""
        moment = self._run.now()
        self.stations.forget(moment.elapsed_ms)
        with self._faults.contained(Doing.TELLING):
            for alert in self.watches.tick(moment, listening):
                self._raise(alert)
            for name in self.watches.alerts.over(moment):
                _log.info("alert is over", name=name)

    def memories(self) -> Sequence[Remembered[HeardPayload]]:
        """What is to be known again after a restart."""
        return [self.reader.telemetry, self.stations, *self.watches.memories()]

    def start(self, tasks: KeptTasks) -> None:
        """Let every sink work."""
        for sink in self._running:
            tasks.keep(sink.run(), name=type(sink).__name__)

    async def drain(self, seconds: float) -> None:
        """Let every sink finish, at the same time."""
        await asyncio.gather(*(sink.drain(seconds) for sink in self._running))

    def _raise(self, alert: PlainObject) -> None:
        """The operator wants to know of this at once. The log names it once, when it begins."""
        if "repeated" not in alert:
            _log.warning("alert", name=alert["name"], what=alert["what"])
        for sink in self._sinks:
            with self._faults.contained(Doing.TELLING):
                sink.offer_alert(alert)
