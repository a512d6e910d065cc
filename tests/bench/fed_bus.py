"""A broker and a bus that publishes what it is fed, for benches that try other people's programs on the feed."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass

from gateway.bus.bus import Bus
from gateway.feed.health import Counts, Health
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.groundwork.part import Part, PartKind, State
from gateway.judge.conditions import Post as PostSettings
from gateway.watches.activity import ActivityWatch
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import MosquittoBroker
from tests.options import bus_options, discovery_options


@dataclass(frozen=True, slots=True)
class FedBus:
    """A bus, and the post that it publishes for."""

    bus: Bus
    post: Post
    reader: ReportReader
    activity: ActivityWatch

    def hear(self, *lines: bytes) -> None:
        """Frames are heard, as lines of monitor text."""
        for line in lines:
            judged = self.post.hear(line)
            self.reader.telemetry.hear(judged)
            self.activity.heard(self.post.now())
            offer(self.bus, judged, self.reader)

    def tell_health(self) -> None:
        """The post is looked at."""
        now = self.post.now()
        parts = [Part(PartKind.RECEIVER, "vhf", State.OK, now.time_ms)]
        watched = {"activity": self.activity.now(now, self.bus.stations).to_object()}
        health = Health(self.post.run, now.time_ms, parts, Counts(0, 0, {}), watched=watched)
        self.bus.offer_health(health.to_object())


@asynccontextmanager
async def fed_bus(broker: MosquittoBroker, *callsigns: str) -> AsyncIterator[FedBus]:
    """A bus at `broker` for a block, which tells a hub of these callsigns; drained at its end."""
    post = Post()
    options = bus_options(broker.port, discovery=discovery_options(*callsigns))
    bus = Bus(options, post.now, stations=Stations(followed=callsigns))
    fed = FedBus(bus, post, ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167)), ActivityWatch())
    running = asyncio.create_task(bus.run())
    try:
        fed.tell_health()
        yield fed
        await bus.drain(5)
    finally:
        running.cancel()
        await asyncio.wait([running])
