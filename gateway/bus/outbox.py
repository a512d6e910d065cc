"""What waits for the broker: a bounded queue for each topic group, and what was shed from it. No I/O, no clock.

Offering is cheap and always succeeds; the JSON is made when a message is taken, so that what is shed costs nothing.
"""

from collections import deque
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from gateway.bus.adoption import Adoption
from gateway.bus.discovery_topics import DiscoveryTopics
from gateway.bus.options import QueueLimits
from gateway.bus.station_topics import StationTopics
from gateway.bus.topics import TopicGroup, Topics
from gateway.feed.heard_object import HeardPayload, encode
from gateway.feed.stations import Station, Stations
from gateway.frames.frame import Frame
from gateway.frames.plain import PlainObject
from gateway.groundwork.bounded import SheddingQueue
from gateway.groundwork.part import counted

_Make = Callable[[], bytes]
"""Makes the payload of a message that waits."""

# Quality of service, by topic group (MQTT 5.0 section 4.3). Level 0, at most once, for the streams: one lost with a
# connection is one of many, while level 1 would cost an answer for each, and give copies after a reconnect. Level 0
# for what is retained, too: whatever a connection swallowed is found and put right at the next one. Level 1, at least
# once, for alerts: each counts, and a copy does no harm. (`status` goes at level 1 as well: it is one message.)
QUALITY = dict.fromkeys(TopicGroup, 0) | {TopicGroup.ALERTS: 1}

RETAINED = frozenset({TopicGroup.HEALTH, TopicGroup.STATIONS, TopicGroup.DISCOVERY})
"""What tells of a state, for who comes later. The others tell of what happens."""


@dataclass(frozen=True, slots=True)
class BusMessage:
    """One message for the broker."""

    group: TopicGroup
    topic: str
    payload: bytes
    """Empty with `retain`: the retained message is to be cleared (MQTT 5.0 section 3.3.1.3)."""

    quality: int
    retain: bool

    @property
    def expires(self) -> bool:
        """Whether it should leave the broker when its station would be forgotten."""
        return self.group is TopicGroup.STATIONS


@dataclass(slots=True)
class MessageTally:
    """What became of the messages of one topic group."""

    offered: int = counted("Messages that were to be published.")
    published: int = counted("Messages handed to the broker.")
    """The connection may swallow the last ones when it breaks; with alerts, the broker has taken them."""

    shed: int = 0
    """Dropped, because the queue was full or the bus stopped."""

    superseded: int = counted("Retained messages that a newer one replaced.")
    oversize: int = counted("Messages larger than what the broker takes.")
    lost: int = counted("Messages known to have gone down with a connection.")
    failed: int = 0
    """No payload could be made of it: a fault of the gateway's own, not of the air's or the broker's."""


class MessageOutbox:
    """Everything that waits for the broker.

    The streams drop their oldest; retained topics keep the newest for each topic; alerts are taken first of all.
    """

    def __init__(
        self,
        topics: Topics,
        limits: QueueLimits,
        stations: Stations,
        adoption: Adoption,
        discovery: DiscoveryTopics | None = None,
    ) -> None:
        self.tally = {group: MessageTally() for group in TopicGroup}
        self.stations = stations
        self.station_topics = StationTopics()
        stations.on_forgotten.append(self.station_topics.forgotten)
        self.discovery = discovery
        self._adoption = adoption
        self._topics = topics
        self.failure: str | None = None
        """What kind of error last kept a payload from being made."""

        self._queues = {
            TopicGroup.HEARD: SheddingQueue[_Make](limits.heard),
            TopicGroup.LINES: SheddingQueue[_Make](limits.lines),
            TopicGroup.FORWARDED: SheddingQueue[_Make](limits.forwarded),
            TopicGroup.ALERTS: SheddingQueue[_Make](limits.alerts),
        }
        self._alert_in_hand: BusMessage | None = None
        self._health: PlainObject | None = None
        self._health_waits = False
        streams = (TopicGroup.HEARD, TopicGroup.LINES, TopicGroup.FORWARDED)
        self._takers: deque[Callable[[], BusMessage | None]] = deque(
            (*(partial(self._pop, group) for group in streams), self._station, self._discovery_message)
        )

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Frames for `heard`, `lines` and their stations' topics; the station memory knows them already."""
        for payload in frames:
            self._offer(payload)

    def _offer(self, payload: HeardPayload) -> None:
        judged = payload.judged
        self._append(TopicGroup.HEARD, payload.encoded)
        if isinstance(judged.heard.frame, Frame):
            self._append(TopicGroup.LINES, payload.monitor_text)
        station = self.stations.get(judged.innermost.source) if judged.innermost else None
        if station is not None:
            tally = self.tally[TopicGroup.STATIONS]
            tally.offered += 1
            tally.superseded += self.station_topics.heard(station.source, payload)
            if self.discovery is not None:
                self.discovery.heard(station)

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        """Frames that went up, for `forwarded`."""
        for payload in frames:
            self._append(TopicGroup.FORWARDED, partial(payload.forwarded, sent_at_ms))

    def offer_alert(self, alert: PlainObject) -> None:
        """An alert object."""
        self._append(TopicGroup.ALERTS, partial(encode, alert))

    def offer_health(self, health: PlainObject) -> None:
        """The newest health object."""
        tally = self.tally[TopicGroup.HEALTH]
        tally.offered += 1
        tally.superseded += self._health_waits
        self._health = health
        self._health_waits = True
        if self.discovery is not None:
            self.discovery.has_parts((part["kind"], part["name"]) for part in health["parts"])

    @property
    def is_empty(self) -> bool:
        """Whether nothing waits that could be taken now."""
        return not any(self.waiting().values())

    def waiting(self) -> dict[TopicGroup, int]:
        """How many messages wait, by topic group."""
        waiting = {group: len(queue) for group, queue in self._queues.items()}
        waiting[TopicGroup.ALERTS] += self._alert_in_hand is not None
        waiting[TopicGroup.HEALTH] = int(self._health_waits)
        waiting[TopicGroup.STATIONS] = len(self.station_topics)
        waiting[TopicGroup.DISCOVERY] = len(self.discovery or ())
        return waiting

    def connected(self) -> None:
        """A connection begins: what is retained must be compared with what the broker holds."""
        self.station_topics.begin()
        self._adoption.begin()
        if self.discovery is not None:
            self.discovery.begin()
        self._health_waits = self._health is not None

    def disconnected(self) -> None:
        """The connection ended."""
        self.station_topics.end()
        if self.discovery is not None:
            self.discovery.end()

    def found_station(self, name: str, payload: bytes) -> None:
        """The broker holds `payload` in the station topic of `name`."""
        station = self.stations.get(name)
        if station is None or not self._is_as(station, payload):
            station = self._adoption.adopt(name, payload) or station
        equal = station is not None and self._is_as(station, payload)
        self.station_topics.found(name, remembered=station is not None, equal=equal)

    def _is_as(self, station: Station, payload: bytes) -> bool:
        """Whether this is what would be written for a station now."""
        ours = self._station_message(station, station.last)
        return ours is not None and ours.payload == payload

    def settle(self) -> None:
        """The broker has told everything of ours that it holds."""
        self.stations.put_in_order()
        self.station_topics.settle((station.source, station.last) for station in self.stations)
        if self.discovery is not None:
            self.discovery.settle()

    def alert(self) -> BusMessage | None:
        """The oldest alert: the same one until it is `alert_answered`."""
        while self._alert_in_hand is None and self._queues[TopicGroup.ALERTS]:
            self._alert_in_hand = self._pop(TopicGroup.ALERTS)
        return self._alert_in_hand

    def alert_answered(self) -> None:
        """The broker has taken the alert."""
        self.tally[TopicGroup.ALERTS].published += 1
        self._alert_in_hand = None

    def take(self) -> BusMessage | None:
        """The next message beside alerts: health first, then a group in its turn. None: nothing came of this turn."""
        if self._health_waits and self._health is not None:
            self._health_waits = False
            return self._message(TopicGroup.HEALTH, partial(encode, self._health))
        for _ in range(len(self._takers)):
            taker = self._takers[0]
            self._takers.rotate(-1)
            message = taker()
            if message is not None:
                return message
        return None

    def published(self, taken: Mapping[TopicGroup, int]) -> None:
        """So many messages that were taken are out."""
        for group, count in taken.items():
            self.tally[group].published += count

    def lost(self, taken: Mapping[TopicGroup, int]) -> None:
        """So many messages that were taken went down with the connection, as far as is known."""
        for group, count in taken.items():
            self.tally[group].lost += count

    def too_large(self, message: BusMessage) -> None:
        """The broker does not take a message of this size: it goes nowhere."""
        self.tally[message.group].oversize += 1
        if message is self._alert_in_hand:
            self._alert_in_hand = None

    def shed_all(self) -> None:
        """The bus stops: nothing goes any more."""
        for group, waiting in self.waiting().items():
            self.tally[group].shed += waiting
        for queue in self._queues.values():
            queue.clear()
        self._alert_in_hand = None
        self._health_waits = False
        self.disconnected()

    def _append(self, group: TopicGroup, make: _Make) -> None:
        tally = self.tally[group]
        tally.offered += 1
        tally.shed += self._queues[group].offer(make)

    def _pop(self, group: TopicGroup) -> BusMessage | None:
        queue = self._queues[group]
        return self._message(group, queue.popleft()) if queue else None

    def _station(self) -> BusMessage | None:
        change = self.station_topics.next()
        if change is None:
            return None
        name, payload = change
        station = self.stations.get(name)
        if payload is None or station is None:
            return _of_group(TopicGroup.STATIONS, self._topics.stray(name), b"")
        return self._station_message(station, payload)

    def _discovery_message(self) -> BusMessage | None:
        change = None if self.discovery is None else self.discovery.next()
        if change is None:
            return None
        self.tally[TopicGroup.DISCOVERY].offered += 1
        topic, payload = change
        return _of_group(TopicGroup.DISCOVERY, topic, payload)

    def _station_message(self, station: Station, last: HeardPayload) -> BusMessage | None:
        topic = self._topics.station(station.source)
        return self._message(TopicGroup.STATIONS, lambda: last.encoded_with({"memory": station.to_object()}), topic)

    def _message(self, group: TopicGroup, make: _Make, topic: str | None = None) -> BusMessage | None:
        try:
            payload = make()
        except Exception as error:  # noqa: BLE001 - one payload that cannot be made must not end the bus: it is counted
            self.tally[group].failed += 1
            self.failure = type(error).__name__
            return None
        return _of_group(group, topic or self._topics.of(group), payload)


def _of_group(group: TopicGroup, topic: str, payload: bytes) -> BusMessage:
    return BusMessage(group, topic, payload, QUALITY[group], group in RETAINED)
