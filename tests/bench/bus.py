"""How many messages a second the bus publishes, beside a bare aiomqtt loop that publishes as many like them.

Both publish in turn to the same real mosquitto. The bus makes each message itself: it reads the report, encodes the
heard object, and writes `heard`, `lines`, `forwarded` and the station's topic. The bare loop awaits one publish after
the other, QoS 0, of payloads that were made beforehand. Prints messages a second, and the ratio of each pair.

Run it from the tree: `.venv/bin/python -m tests.bench.bus`.
"""

import argparse
import asyncio
import statistics
import time

import aiomqtt
import structlog

from gateway.bus.bus import Bus
from gateway.bus.options import BusOptions, QueueLimits
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.judge.conditions import Post as PostSettings
from tests.bench.ends import lines
from tests.judged_frames import Post
from tests.mosquitto_broker import MosquittoBroker

CALLSIGN = "QX1GAT-10"
FED_AT_ONCE = 200
"""Frames that are offered whenever nothing waits: as many as one read of a flood brings."""


def published(bus: Bus) -> int:
    """Messages that the broker was given."""
    return sum(tally.published for tally in bus.state().tally.values())


async def fed_bus(port: int, seconds: float) -> float:
    """Messages a second of the bus."""
    post = Post()
    stations, reader = Stations(), ReportReader(PostSettings(CALLSIGN, 58.6, -3.9167))
    limits = QueueLimits(heard=10_000, forwarded=10_000, lines=10_000)
    bus = Bus(BusOptions("127.0.0.1", CALLSIGN, port, limits=limits), post.now, stations=stations)
    running = asyncio.create_task(bus.run())
    while not bus.state().connected:  # noqa: ASYNC110 - the bus has no event for it
        await asyncio.sleep(0.05)
    await asyncio.sleep(1.0)  # it asks the broker first which stations it holds
    text = iter(lines(2_000_000))
    before, began = published(bus), time.perf_counter()
    while time.perf_counter() - began < seconds:
        for _ in range(FED_AT_ONCE):
            line = next(text)
            payload = HeardPayload(post.hear(line), reader, line + b"\r\n")
            stations.hear(payload)
            bus.offer([payload])
            bus.offer_forwarded([payload], post.moment.time_ms)
        while sum(bus.state().waiting.values()) > FED_AT_ONCE:  # noqa: ASYNC110 - see above
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


async def measure(pairs: int, seconds: float) -> None:
    """Measure both in turn and print."""
    ratios = []
    async with MosquittoBroker() as broker:
        for pair in range(pairs):
            bare = await bare_loop(broker.port, seconds)
            bus = await fed_bus(broker.port, seconds)
            ratios.append(bus / bare)
            print(f"pair {pair + 1}: bare {bare:8,.0f} messages/s, bus {bus:8,.0f}, ratio {ratios[-1]:.2f}")
    print(f"median ratio {statistics.median(ratios):.2f} (target: 0.7 or more)")


def main() -> None:
    """Read the arguments and measure."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=3)
    parser.add_argument("--seconds", type=float, default=5.0)
    options = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    asyncio.run(measure(options.pairs, options.seconds))


if __name__ == "__main__":
    main()
