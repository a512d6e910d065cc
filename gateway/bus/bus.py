"""The bus: takes what the house should see, without ever waiting, and keeps the broker told for as long as it runs."""

import asyncio
from collections.abc import Callable, Sequence
from dataclasses import replace

import structlog
from paho.mqtt.enums import MQTTProtocolVersion

from gateway.bus.adoption import Adoption
from gateway.bus.connection import BrokerConnection
from gateway.bus.discovery import Announcer
from gateway.bus.discovery_topics import DiscoveryTopics
from gateway.bus.options import BusOptions, BusOptionsError
from gateway.bus.outbox import MessageOutbox
from gateway.bus.publisher import Publisher
from gateway.bus.topics import TopicGroup, Topics
from gateway.bus.trouble import UNSUPPORTED_PROTOCOL, BrokerError, SilentCloses, code_of, explain, most_telling
from gateway.feed.heard_object import HeardPayload, Reader, no_report
from gateway.feed.sink import RunningSink
from gateway.feed.stations import Stations
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainObject
from gateway.groundwork.back_off import BackOff
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.part import Figure, Part, PartKind, State, Trouble, failed, figures_of, shed, waiting

_log = structlog.get_logger()

_NAMES = {MQTTProtocolVersion.MQTTv5: "5", MQTTProtocolVersion.MQTTv311: "3.1.1"}

DRAIN_SHARE = 0.7
"""Of the time to drain, what publishing may take; the rest is for `offline` and for taking leave."""

_NOT_YET = Trouble("no connection was tried yet", "wait a moment")
_RAISE_LIMIT = "raise the broker's limit for the size of a packet"
_STOPPED = Trouble("the gateway stops", "start it again")


class _Protocols:
    """Which protocol to try next: MQTT 5 where the broker speaks it, else 3.1.1; what worked last is tried again."""

    def __init__(self, *, mqtt_5: bool) -> None:
        self.next = MQTTProtocolVersion.MQTTv5 if mqtt_5 else MQTTProtocolVersion.MQTTv311
        self._mqtt_5 = mqtt_5
        self._spoke_5 = False

    def welcomed(self) -> None:
        """The broker took a connection with `next`."""
        self._spoke_5 |= self.next is MQTTProtocolVersion.MQTTv5

    def refused(self, code: int | None, *, reached: bool) -> bool:
        """No connection came about. Returns whether to try the other protocol at once.

        A broker that is too old for 5 says so, closes without a word, or does not answer. The latter two may have
        other causes: no broker that has spoken 5 is taken to be too old for it.
        """
        is_silent = code is None and reached
        if self.next is MQTTProtocolVersion.MQTTv5:
            if code == UNSUPPORTED_PROTOCOL or (is_silent and not self._spoke_5):
                self.next = MQTTProtocolVersion.MQTTv311
                return True
        elif self._mqtt_5 and (code == UNSUPPORTED_PROTOCOL or is_silent):
            self.next = MQTTProtocolVersion.MQTTv5
        return False


def _heed_cancellation() -> None:
    """Be cancelled where that came with a failure: a task group tells only of the latter, before Python 3.13."""
    task = asyncio.current_task()
    if task is not None and task.cancelling():
        raise asyncio.CancelledError


class _LostError(Exception):
    """There is no connection, or no longer."""

    def __init__(self, trouble: Trouble, *, at_once: bool = False) -> None:
        super().__init__(trouble.why)
        self.trouble = trouble
        self.at_once = at_once


class Bus(RunningSink):
    """The gateway's one publisher. It answers for itself: see `part.Answers`."""

    def __init__(
        self,
        options: BusOptions,
        now: Callable[[], Moment],
        *,
        stations: Stations,
        read: Reader = no_report,
        busy: Callable[[], bool] = lambda: False,
    ) -> None:
        """`busy` says whether frames wait to be judged: then less is published. Raises `ValueError`.

        `now` is the clock of the run, `stations` the memory that the service tells first of every frame,
        `read` reads reports of what others remember.
        """
        self.stations = stations
        self._options = options
        self._now = now
        self._topics = Topics(options.base, options.callsign)
        announcer = Announcer(options.client_identifier, options.callsign, self._topics.prefix)
        discovery = None if options.discovery is None else DiscoveryTopics(options.discovery, announcer)
        adoption = Adoption(stations, now, read)
        self._outbox = MessageOutbox(self._topics, options.limits, stations, adoption, discovery)
        self.tally = self._outbox.tally
        self._publisher = Publisher(self._outbox, self._topics, options.pace.learn, busy)
        stations.on_forgotten.append(self._wake)
        self._protocols = _Protocols(mqtt_5=options.mqtt_5)
        self.protocol = ""
        """"5" or "3.1.1", of the connection that is or was; empty before the first."""

        self._limit: asyncio.Timeout | None = None
        self._ended = asyncio.Event()
        self.trouble: Trouble | None = _NOT_YET
        """Why there is no connection."""

        self._since_ms = now().time_ms
        self._sheds = False
        self._shed_said = dict.fromkeys(TopicGroup, 0)
        self._failed_said = 0
        self._oversize_said = 0
        self._silent_closes = SilentCloses()
        self._broker_takes: int | None = None
        """Octets of the largest packet that the broker took, at the last connection that said so."""

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Take frames for `heard`, `lines` and their stations' topics."""
        self._outbox.offer(frames)
        self._publisher.work.set()

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        """Take frames whose lines were sent, for `forwarded`."""
        self._outbox.offer_forwarded(frames, sent_at_ms)
        self._publisher.work.set()

    def offer_health(self, health: PlainObject) -> None:
        """Take a health object, for `health`. Only the newest is kept."""
        self._outbox.offer_health(health)
        self._publisher.work.set()

    def offer_alert(self, alert: PlainObject) -> None:
        """Take an alert object, for `alerts`: published before everything else, and again until the broker has it."""
        self._outbox.offer_alert(alert)
        self._publisher.work.set()

    @property
    def connected(self) -> bool:
        """Whether there is a connection."""
        return self.trouble is None

    def waiting(self) -> dict[TopicGroup, int]:
        """How many messages wait, by topic group."""
        return self._outbox.waiting()

    def part(self) -> Part:
        """How it is now, for the health of the post."""
        if self.trouble is not None:
            state = State.WAITING if self.trouble is _NOT_YET else State.DOWN
            return Part(PartKind.BUS, "bus", state, self._since_ms, self.trouble.why, self.trouble.do)
        if self._sheds:
            why = "more is heard than the broker takes: some of it is not published"
            return Part(PartKind.BUS, "bus", State.DEGRADED, self._since_ms, why, "see what keeps the broker busy")
        if count := self._oversize():
            why = f"messages not published, as the broker takes packets of {self._broker_takes} octets at most: {count}"
            return Part(PartKind.BUS, "bus", State.DEGRADED, self._since_ms, why, _RAISE_LIMIT)
        return Part(PartKind.BUS, "bus", State.OK, self._since_ms)

    def figures(self) -> Sequence[Figure]:
        """What became of the messages, by topic group, and how many wait."""
        tallies = self.tally.items()
        figures_by_group = [(group, figure) for group, tally in tallies for figure in figures_of(tally)]
        return [
            *shed({group: tally.shed for group, tally in tallies}),
            *failed({group: tally.failed for group, tally in tallies}),
            *waiting(self._outbox.waiting()),
            *(replace(figure, labels={"carries": group}) for group, figure in figures_by_group),
        ]

    async def run(self) -> None:
        """Stay connected and publish, until drained. Cancelled, it goes without a word: the will says `offline`."""
        try:
            async with asyncio.timeout(None) as self._limit, kept_tasks() as tasks:
                tasks.keep(self._tidy_for_ever(), "bus: tidy")
                await self._stay_connected()
        except TimeoutError:
            if self._publisher.leave_at is None:
                raise
        finally:
            self._limit = None
            self._become(_STOPPED)
            self._outbox.shed_all()
            self._ended.set()

    async def drain(self, seconds: float) -> None:
        """Publish what waits, say `offline` and leave, all within `seconds`; `run` then returns.

        Without a connection there is nobody to tell, and it ends at once. What could not go is counted as shed.
        """
        if self._limit is None:
            return
        now = asyncio.get_running_loop().time()
        self._publisher.leave_at = now + seconds * DRAIN_SHARE
        self._limit.reschedule(now + seconds if self.trouble is None else now)
        self._publisher.work.set()
        await self._ended.wait()

    def tidy(self) -> None:
        """Say what was shed since the last time. `run` does it every minute."""
        tally = self.tally
        more = {group.value: tally[group].shed - said for group, said in self._shed_said.items()}
        self._shed_said = {group: tally[group].shed for group in TopicGroup}
        news = {group: count for group, count in more.items() if count}
        if self._sheds != bool(news):
            self._sheds = bool(news)
            self._since_ms = self._since_ms if self.trouble else self._now().time_ms
        if news:
            _log.warning("bus sheds what the broker does not take", broker=self._options.broker, **news)
        failures = sum(of_group.failed for of_group in tally.values())
        if failures > self._failed_said:
            _log.error("bus cannot encode messages", count=failures - self._failed_said, error=self._outbox.failure)
            self._failed_said = failures

        if (oversize := self._oversize()) > self._oversize_said:
            count, self._oversize_said = oversize - self._oversize_said, oversize
            _log.warning("bus leaves out large messages", count=count, takes=self._broker_takes, do=_RAISE_LIMIT)

    def _oversize(self) -> int:
        return sum(of_group.oversize for of_group in self.tally.values())

    def _wake(self, _forgotten: str) -> None:
        """A station is remembered no longer: the outbox, told before, may have its topic to clear."""
        self._publisher.work.set()

    async def _tidy_for_ever(self) -> None:
        while True:
            await asyncio.sleep(self._options.pace.tidy)
            self.tidy()

    async def _stay_connected(self) -> None:
        back_off = BackOff(self._options.pace.pauses)
        while self._publisher.leave_at is None:
            began_ms = self._now().elapsed_ms
            try:
                await self._connect_and_publish()
            except _LostError as lost:
                if lost.at_once:
                    continue
                stood_ms = self._now().elapsed_ms - began_ms if self.trouble is None else 0
                self._become(lost.trouble)
                if self._publisher.leave_at is not None:
                    break
                await asyncio.sleep(back_off.failed(stood_ms / 1000))

    async def _connect_and_publish(self) -> None:
        """Connect, publish and, when drained, return. Raises `_LostError`."""
        protocol = self._protocols.next
        failure: BrokerError | None = None
        is_welcome = False
        try:
            connection = BrokerConnection(self._options, self._topics, protocol)
        except BusOptionsError as error:
            raise _LostError(explain(error)) from None
        try:
            async with connection:
                is_welcome = True
                self._broker_takes = connection.maximum_octets or self._broker_takes
                self._protocols.welcomed()
                self.protocol = _NAMES[protocol]
                self._become(None)
                await self._publisher.publish_over(connection)
        except* BrokerError as errors:
            failure = most_telling(errors)
            _heed_cancellation()
        if failure is not None:
            refused = not is_welcome and self._protocols.refused(code_of(failure), reached=connection.reached_broker)
            suspected = self._silent_closes.explain(failure, self._now().elapsed_ms)
            raise _LostError(suspected or explain(failure), at_once=refused)

    def _become(self, trouble: Trouble | None) -> None:
        """Take note of a change, and log it once: a broker may be away for a month."""
        if trouble == self.trouble:
            return
        if (trouble is None) != (self.trouble is None) or self.trouble is _NOT_YET:
            self._since_ms = self._now().time_ms
        self.trouble = trouble
        if trouble is None:
            _log.info("bus connected", broker=self._options.broker, protocol=self.protocol)
        elif trouble is _STOPPED:
            _log.info("bus stopped", broker=self._options.broker)
        else:
            _log.warning("bus not connected", broker=self._options.broker, why=trouble.why, do=trouble.do)
