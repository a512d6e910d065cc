"""Joins all that is told of what is heard: what the feed remembers, the watches, and then every sink.

The watches are told of every frame, whether or not there is a sink. Nothing here ever makes the uplink wait: offers
return at once, and each sink runs, sheds and says so by itself.
"""

import asyncio
import contextlib
import traceback
from collections.abc import Iterator, Sequence

import structlog

from gateway.feed.health import Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.sink import RunningSink, Sink
from gateway.feed.stations import Stations
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.part import Figure, Part, PartKind, State, counter
from gateway.remembered import Remembered
from gateway.watches.watches import Watches

FLOOD_FRAMES = 50
"""More than one read of a radio channel's decoder ever brings: about ten seconds of the busiest channel."""

FLOOD_MS = 50
"""For how long after such a read more of the same is expected."""

_log = structlog.get_logger("stile")


class House:
    """The house's side of one gateway. It answers for itself: see `part.Answers`."""

    def __init__(self, run: Run, reader: ReportReader, stations: Stations, watches: Watches) -> None:
        """`add` then says who else is told."""
        self.stations = stations
        self.reader = reader
        self.watches = watches
        self._run = run
        self._sinks: list[Sink] = []
        self._running: list[RunningSink] = []
        self._failed = 0
        """Frames of which the house was not told, by a fault of the gateway's own."""

        self._failed_said = 0
        self._since_ms = run.now().time_ms
        self._busy_until_ms = 0

    def add(self, sinks: Sequence[Sink]) -> None:
        """These are told, too, in this order; those that have work to do will be run."""
        self._sinks += sinks
        self._running += [sink for sink in sinks if isinstance(sink, RunningSink)]

    def part(self) -> Part:
        """Whether the house was told of everything."""
        if not self._failed:
            return Part(PartKind.HOUSE, PartKind.HOUSE, State.OK, self._since_ms)
        why = "a fault of the gateway's own keeps it from being told of everything"
        return Part(PartKind.HOUSE, PartKind.HOUSE, State.DEGRADED, self._since_ms, why, "see the log, and report it")

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        return [counter("untold", self._failed, "Frames of which one was not told: a fault of the gateway's own.")]

    def hear(self, frames: Sequence[HeardPayload]) -> None:
        """What one read of one receiver brought was judged, and there is some: everybody is told."""
        if len(frames) >= FLOOD_FRAMES:
            self._busy_until_ms = frames[0].since_ms + FLOOD_MS
        if self._sinks:  # without one, nobody can ask for a station
            with self._shielded(len(frames)):
                for payload in frames:
                    self.reader.hear(payload.judged)
                    self.stations.hear(payload)
        with self._shielded(len(frames)):
            for alert in self.watches.hear(frames):
                self._raise(alert)
        for sink in self._sinks:
            with self._shielded(len(frames)):
                sink.offer(frames)

    def forwarded(self, frames: Sequence[HeardPayload]) -> None:
        """The lines of these frames were sent just now."""
        sent_at_ms = self._run.now().time_ms
        for sink in self._sinks:
            with self._shielded(len(frames)):
                sink.offer_forwarded(frames, sent_at_ms)

    def tell_health(self, health: Health) -> None:
        """How the post is now."""
        if self._sinks:
            plain = health.to_object()
            for sink in self._sinks:
                with self._shielded(0):
                    sink.offer_health(plain)

    def is_busy(self) -> bool:
        """Whether frames come in floods: then the house takes less of the one core, so that the uplink has it."""
        return self._run.now().elapsed_ms < self._busy_until_ms

    def tick(self, listening: Sequence[str]) -> None:
        """What is due from time to time; `listening` are the receivers that listen."""
        moment = self._run.now()
        self.stations.forget(moment.elapsed_ms)
        with self._shielded(0):
            for alert in self.watches.tick(moment, listening):
                self._raise(alert)
            for name in self.watches.over(moment):
                _log.info("alert is over", name=name)
        if self._failed != self._failed_said:
            _log.error("the house was not told of frames", count=self._failed - self._failed_said)
            self._failed_said = self._failed

    def memories(self) -> Sequence[Remembered[HeardPayload]]:
        """What is to be known again after a restart."""
        return [self.reader, *self.watches.memories()]

    def start(self, tasks: asyncio.TaskGroup) -> list[asyncio.Task[None]]:
        """Let every sink work."""
        return [tasks.create_task(sink.run(), name=type(sink).__name__) for sink in self._running]

    async def drain(self, seconds: float) -> None:
        """Let every sink finish, at the same time."""
        await asyncio.gather(*(sink.drain(seconds) for sink in self._running))

    def _raise(self, alert: PlainObject) -> None:
        """The operator wants to know of this at once. The log names it once, when it begins."""
        if "repeated" not in alert:
            _log.warning("alert", name=alert["name"], what=alert["what"])
        for sink in self._sinks:
            with self._shielded(0):
                sink.offer_alert(alert)

    @contextlib.contextmanager
    def _shielded(self, frames: int) -> Iterator[None]:
        """No fault of ours in what the house is told may keep frames from the network: it is counted and said."""
        try:
            yield
        except Exception as error:  # noqa: BLE001 - see above
            if not self._failed:
                self._since_ms = self._run.now().time_ms
                place = traceback.extract_tb(error.__traceback__)[-1]  # not the message: it may hold text from the air
                where = f"{place.name}, line {place.lineno}"
                _log.error(
                    "a fault of the gateway's own: the house was not told", error=type(error).__name__, where=where
                )
            self._failed += max(frames, 1)
