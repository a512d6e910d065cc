"""Messages a second that the bus publishes, beside a bare aiomqtt loop that publishes as many like them.

Both publish to the same real mosquitto. The bus makes each message itself: it reads the report, encodes the heard
object, and writes `heard`, `lines`, `forwarded` and the station's topic. The bare loop awaits one publish after the
other, QoS 0, of payloads that were made beforehand.
"""

import asyncio
import time
from collections.abc import Iterator
from contextlib import ExitStack
from itertools import count

import aiomqtt
import structlog

from gateway.bus.bus import Bus
from gateway.bus.options import QueueLimits
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.judge.conditions import Post as PostSettings
from tests.bench import ends
from tests.bench.figures import Effort, Figure, in_turn, per_second, ratio
from tests.bench.processes import a_broker
from tests.judged_frames import Post
from tests.options import bus_options

CALLSIGN = "QX1GAT-10"
SECONDS, QUICK_SECONDS = 3.0, 1.0
FED_AT_ONCE = 200
"""Frames that are offered whenever nothing waits: as many as one read of a flood brings."""


def published(bus: Bus) -> int:
    """Messages that the broker was given."""
    return sum(tally.published for tally in bus.tally.values())


async def fed_bus(port: int, seconds: float) -> float:
    """Messages a second of the bus."""
    post = Post()
    stations, reader = Stations(), ReportReader(PostSettings(CALLSIGN, 58.6, -3.9167))
    limits = QueueLimits(heard=10_000, forwarded=10_000, lines=10_000)
    bus = Bus(bus_options(port, callsign=CALLSIGN, limits=limits), post.now, stations=stations)
    running = asyncio.create_task(bus.run())
    while not bus.connected:  # noqa: ASYNC110 - the bus has no event for it
        await asyncio.sleep(0.05)
    await asyncio.sleep(1.0)  # it asks the broker first which stations it holds
    numbers = count()
    before, began = published(bus), time.perf_counter()
    while time.perf_counter() - began < seconds:
        for _ in range(FED_AT_ONCE):
            line = ends.line(next(numbers))
            payload = HeardPayload(post.hear(line), reader, line + b"\r\n")
            stations.hear(payload)
            bus.offer([payload])
            bus.offer_forwarded([payload], post.moment.time_ms)
        while sum(bus.waiting().values()) > FED_AT_ONCE:  # noqa: ASYNC110 - see above
            await asyncio.sleep(0)
    rate = (published(bus) - before) / (time.perf_counter() - began)
    await bus.drain(2.0)
    await running
    return rate


async def bare_loop(port: int, seconds: float) -> float:
    """Messages a second of a loop that does nothing but publish."""
    payload = b"x" * 400
    topics = [f"bare/{name}" for name in ("heard", "lines", "forwarded", "stations/QA1BCD-9")]
    count = 0
    async with aiomqtt.Client("127.0.0.1", port) as client:
        began = time.perf_counter()
        while time.perf_counter() - began < seconds:
            for topic in topics:
                await client.publish(topic, payload, retain=topic.endswith("-9"))
            count += len(topics)
        return count / (time.perf_counter() - began)


def measure(effort: Effort) -> Iterator[Figure]:
    """One figure."""
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    with ExitStack() as stack:
        broker = stack.enter_context(a_broker())
        runner = stack.enter_context(asyncio.Runner())
        seconds = QUICK_SECONDS if effort.quick else SECONDS
        sides = {
            "bare": lambda: runner.run(bare_loop(broker.port, seconds)),
            "bus": lambda: runner.run(fed_bus(broker.port, seconds)),
        }
        rates = in_turn(effort.turns, sides)
    yield ratio("bus", rates["bus"], rates["bare"], per_second("messages"), "bare loop")
