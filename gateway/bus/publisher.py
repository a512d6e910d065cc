"""One connection's worth of publishing: greet the broker, learn what it holds, hand over what waits, take leave."""

import asyncio
from collections import Counter
from collections.abc import Callable
from time import perf_counter

import structlog

from gateway.bus.connection import OFFLINE, ONLINE, BrokerConnection, Received
from gateway.bus.outbox import MessageOutbox
from gateway.bus.topics import TopicGroup, Topics
from gateway.groundwork.giving_way import Rests
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.waiting import happens_within

_log = structlog.get_logger()

BATCH_SECONDS = 0.0005
"""How long taking one batch may hold the event loop; writing it to the socket then takes about as long again."""

BATCH_MESSAGES = 64

RESTS = Rests(usual=0.0, while_busy=2.0, longest=0.02)
"""A batch that took long had to wait for the broker, which took none of the frames' time."""


class Publisher:
    """Publishes what waits in the outbox over one connection after the other."""

    def __init__(self, outbox: MessageOutbox, topics: Topics, learn_seconds: float, busy: Callable[[], bool]) -> None:
        self.work = asyncio.Event()
        """Set whenever something was put into the outbox."""

        self.leave_at: float | None = None
        """When to take leave, in the event loop's time, or earlier once nothing waits; None: stay."""

        self._outbox = outbox
        self._topics = topics
        self._learn_seconds = learn_seconds
        self._busy = busy
        self._heard_ourselves = asyncio.Event()
        self._learnt = [topics.stations]
        self._followed = [topics.status]
        if outbox.discovery is not None:
            self._learnt.append(outbox.discovery.filter)
            self._followed.append(outbox.discovery.hub_status)

    async def publish_over(self, connection: BrokerConnection) -> None:
        """Publish over `connection` until `leave_at`. Raises `BrokerError`, in a group, when the connection ends."""
        self._outbox.connected()
        self._heard_ourselves.clear()
        try:
            async with kept_tasks() as tasks:
                tasks.keep(self._listen(connection), "bus: listen")
                await connection.subscribe(
                    [(topic, 0) for topic in self._learnt] + [(topic, 1) for topic in self._followed]
                )
                await connection.say(ONLINE)
                tasks.keep(self._learn(connection), "bus: learn", may_return=True)
                await self._publish(connection)
                await connection.say(OFFLINE)
        finally:
            self._outbox.disconnected()

    async def _listen(self, connection: BrokerConnection) -> None:
        while True:
            for message in await connection.received():
                if message.topic == self._topics.status:
                    await self._take_status(connection, message)
                else:
                    self._take_told(message)
                    self.work.set()

    async def _take_status(self, connection: BrokerConnection, message: Received) -> None:
        if message.retain:
            return
        if message.payload == ONLINE:
            self._heard_ourselves.set()
        elif self.leave_at is None:
            # The will of a connection that the broker gave up only now: it speaks of the past.
            await connection.say(ONLINE)

    def _take_told(self, message: Received) -> None:
        topic, payload = message.topic, message.payload
        name = self._topics.station_name(topic)
        if name is not None and payload:
            self._outbox.found_station(name, payload)
        elif self._outbox.discovery is not None:
            self._outbox.discovery.read(topic, payload, retained=message.retain)

    async def _learn(self, connection: BrokerConnection) -> None:
        """Wait until the broker has told every topic of ours that it holds, then begin to set them right.

        A broker answers in order: once our own `online`, published after subscribing, has come back to us, the
        retained messages have come, too.
        """
        if not await happens_within(self._heard_ourselves, self._learn_seconds):
            _log.warning(
                "the broker does not tell which station topics it holds: stray ones stay",
                do="allow the bus user to read its own topics",
            )
        self._outbox.settle()
        self.work.set()
        await connection.unsubscribe(self._learnt)

    async def _publish(self, connection: BrokerConnection) -> None:
        while not self._may_leave():
            await self.work.wait()
            while (alert := self._outbox.alert()) is not None:
                if not connection.takes(alert):
                    self._outbox.too_large(alert)
                    continue
                await connection.publish_answered(alert.topic, alert.payload, retain=alert.retain)
                self._outbox.alert_answered()
            rest = await self._publish_batch(connection)
            if self._outbox.is_empty and self.leave_at is None:
                self.work.clear()
            await asyncio.sleep(rest)

    def _may_leave(self) -> bool:
        if self.leave_at is None:
            return False
        return self._outbox.is_empty or asyncio.get_running_loop().time() >= self.leave_at

    async def _publish_batch(self, connection: BrokerConnection) -> float:
        """Publish for about a millisecond; returns for how many seconds to rest then."""
        began = perf_counter()
        handed: Counter[TopicGroup] = Counter()
        try:
            while handed.total() < BATCH_MESSAGES and perf_counter() - began < BATCH_SECONDS:
                message = self._outbox.take()
                if message is None:
                    break
                if not connection.takes(message):
                    self._outbox.too_large(message)
                    continue
                handed[message.group] += 1
                connection.publish_soon(message)
            await connection.flush()
            took = perf_counter() - began
        except BaseException:
            self._outbox.lost(handed)
            raise
        self._outbox.published(handed)
        return RESTS.after(took, busy=self._busy())
