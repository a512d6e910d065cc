"""What one hub judges from the stream: frames a second, beside what its client alone reads; two hubs, bit for bit.

python -m tests.bench.club_follow                      # a real engine: judging beside bare reading
python -m tests.bench.club_follow --alike 1000000      # two hubs, posts that come and go, without an engine
python -m tests.bench.club_follow --posts 500 --minutes 10
python -m tests.bench.club_follow --spread              # judging alone: a frame of one post's, and of hundreds'
python -m tests.bench.club_follow --halves              # a real engine: hubs of half the slices beside one of all
"""

import argparse
import asyncio
import contextlib
import logging
import random
import resource
import statistics
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import structlog

from demo.engine_servers import EngineServers
from gateway.club import message
from gateway.club.engine import Engine, EngineOptions, EngineUnansweredError, connected
from gateway.club.follower import Follower, StreamMessage
from gateway.club.message import Handed
from gateway.club.policy_entry import PolicyEntry
from gateway.club.slices import ALL, SLICES, Slices, slice_of
from gateway.club.stream_reader import read_stream
from gateway.club.subjects import Subjects
from gateway.frames import tnc2
from gateway.frames.heard import Run
from gateway.judge.source import PolicyText
from gateway.judge.state import JUDGE
from gateway.running.collector import spare_the_collector
from gateway.settings.policy_files import ready_policies
from tests.club.test_alike import alike
from tests.club.test_follower import FRESHNESS_MS, follower

CLUB = Subjects("wrackholm")
PIECE = 50_000
TRIES = 5
TURNS = 5
SPREADS = (1, 10, 100, 500)
BATCH = 300
SAMPLE_SECONDS = 30.0
CONNECTIONS_A_SERVER = 3


def megabytes() -> float:
    """What this process holds in memory now."""
    pages = int(Path("/proc/self/statm").read_text("ascii").split()[1])
    return pages * resource.getpagesize() / 1024**2


def two_hubs(frames: int) -> bool:
    """Whether two hubs agreed on so many frames."""
    begun = time.process_time()
    agreed = alike(frames, PIECE)
    if agreed is None:
        return False
    print(f"{agreed.messages} messages, {agreed.frames} frames judged by two hubs alike, bit for bit")
    print(f"{agreed.starts} starts, {time.process_time() - begun:.0f} s of a core, {megabytes():.0f} MB")
    return True


def handed(number: int) -> bytes:
    """One of many stations says something new."""
    line = b"QA%dBC-%d>APRS,WIDE1-1:!5836.%02dN/00355.%02dW>%d" % (
        number % 10, number % 16, number % 60, number % 59, number,
    )  # fmt: skip
    return message.write(Handed("vhf", 0, int(time.time() * 1000), None, tnc2.read(line)))


async def fill(engine: Engine, frames: int) -> None:
    """Put so many frames into the stream."""
    await engine.publish(CLUB.policy, first_policy().to_octets())
    limit = asyncio.Semaphore(200)

    async def put(number: int) -> None:
        async with limit:
            octets = handed(number)
            subject = CLUB.heard(f"post-{number % 20}", slice_of(message.read(octets).frame))
            for _ in range(TRIES):  # a busy computer: the id keeps it from being stored twice
                with contextlib.suppress(EngineUnansweredError):
                    await engine.publish(subject, octets, identity=f"run-{number}")
                    return

    for numbers in pieces(frames):
        await asyncio.gather(*(put(number) for number in numbers))


def pieces(frames: int) -> Iterator[range]:
    """The numbers, a few thousand at a time."""
    for first in range(0, frames, 5000):
        yield range(first, min(first + 5000, frames))


async def read_through(engine: Engine, hub: Follower | None, slices: Slices = ALL) -> float:
    """Read it all, judged or not; gives back seconds of a core."""
    run, begun = Run(), time.process_time()
    _, last = await engine.bounds()
    async with contextlib.aclosing(read_stream(engine, 1, slices)) as batches:
        async for batch in batches:
            if hub is not None:
                hub.take(batch, run)
            if batch[-1].sequence >= last:
                break
    return time.process_time() - begun


def spread(frames: int) -> None:
    """What judging a frame costs where one post hears all of them, or some, or hundreds."""
    streams = {posts: list(heard_by(posts, frames)) for posts in SPREADS}
    costs: dict[int, list[float]] = {posts: [] for posts in SPREADS}
    for _ in range(TURNS):
        for posts, messages in streams.items():
            hub, run = follower(), Run()
            hub.begin(1)
            begun = time.process_time()
            for first in range(0, len(messages), BATCH):
                hub.take(messages[first : first + BATCH], run)
            costs[posts].append((time.process_time() - begun) / frames * 1e6)
    one = statistics.median(costs[SPREADS[0]])
    for posts, found in costs.items():
        cost = statistics.median(found)
        print(f"{posts:4} posts: {cost:5.1f} us a frame, {cost / one:.2f} of that of one post")


def heard_by(posts: int, frames: int) -> Iterator[StreamMessage]:
    """Frames of six hundred stations, as so many posts hear them, each of them a sixth of the stations."""
    chance = random.Random(posts)
    stamp_ms = int(time.time() * 1000)
    yield StreamMessage(1, stamp_ms, CLUB.policy, first_policy().to_octets())
    for number in range(frames):
        post = chance.randrange(posts)
        station = post % 500 + chance.randrange(100)
        line = b"Q%c%dBC-%d>APRS,WIDE1-1:!5836.%02dN/00355.%02dW>%d" % (
            65 + station // 160, station // 16 % 10, station % 16, number % 60, number % 59, number,
        )  # fmt: skip
        frame = tnc2.read(line)
        octets = message.write(Handed("vhf", 0, stamp_ms + number, None, frame))
        yield StreamMessage(number + 2, stamp_ms + number, CLUB.heard(f"post-{post}", slice_of(frame)), octets)


def first_policy() -> PolicyEntry:
    """The ready policy, as a club begins with it."""
    text = (ready_policies() / "receive-only.yaml").read_text("utf-8")
    return PolicyEntry(JUDGE, begins=True, texts=(PolicyText("receive-only.yaml", text),))


async def judge_from_the_stream(frames: int) -> None:
    """Bare reading and judging, by turns."""
    async with (
        EngineServers(1) as servers,
        connected(EngineOptions(servers.urls, "hub"), CLUB, servers.urls[0]) as engine,
    ):
        await engine.make_what_is_absent(1)
        await fill(engine, frames)
        for _ in range(3):
            bare = await read_through(engine, None)
            hub = follower()
            hub.begin(1)
            judged = await read_through(engine, hub)
            assert hub.counts.judged >= frames - 1
            print(
                f"bare reading {frames / bare:8.0f}/s, judging too {frames / judged:8.0f}/s, {bare / judged:.2f} of it"
            )


async def half_of_the_slices(frames: int) -> None:
    """One hub of all slices, and one of each half, by turns. A beat at the end is read by all of them."""
    halves = (Slices.of(range(SLICES // 2)), Slices.of(range(SLICES // 2, SLICES)))
    async with (
        EngineServers(1) as servers,
        connected(EngineOptions(servers.urls, "hub"), CLUB, servers.urls[0]) as engine,
    ):
        await engine.make_what_is_absent(1)
        await fill(engine, frames)
        await engine.publish(CLUB.hub_beat("hub"), b"")
        for _ in range(TURNS):
            costs, judged = [], []
            for slices in (ALL, *halves):
                hub = Follower(CLUB, FRESHNESS_MS, lambda _: None, slices)
                hub.begin(1)
                costs.append(await read_through(engine, hub, slices))
                judged.append(hub.counts.judged)
            assert judged[0] == judged[1] + judged[2]
            told = ", ".join(
                f"{count} frames {cost:.2f} s of a core" for count, cost in zip(judged, costs, strict=True)
            )
            print(f"{told}: halves {costs[1] / costs[0]:.2f} and {costs[2] / costs[0]:.2f} of the whole")


async def many_posts(posts: int, minutes: float) -> None:
    """So many posts at one frame a second, in a process of their own, and here one hub that follows."""
    async with EngineServers(3) as servers:
        options = EngineOptions(servers.urls, "hub")
        async with connected(options, CLUB, servers.urls[0]) as engine:
            await engine.make_what_is_absent(3)
            await engine.publish(CLUB.policy, first_policy().to_octets())
            hub = follower()
            hub.begin(1)
            following = asyncio.create_task(_follow(engine, hub))
            arguments = ["--hand-on", ",".join(servers.urls), "--posts", str(posts), "--minutes", str(minutes)]
            child = await asyncio.create_subprocess_exec(sys.executable, "-m", __spec__.name, *arguments)
            ending = asyncio.create_task(child.wait())
            while not ending.done():
                judged, spent = hub.counts.judged, time.process_time()
                await asyncio.wait([ending], timeout=SAMPLE_SECONDS)
                frames = hub.counts.judged - judged
                cost = (time.process_time() - spent) / max(frames, 1) * 1e6
                late_ms = int(time.time() * 1000) - hub.order.stamp_ms
                told = f"{hub.counts.judged:8} judged, {len(hub.posts)} posts, {cost:6.0f} us each"
                print(f"{told}, {late_ms} ms behind, {megabytes():.1f} MB", flush=True)
            await asyncio.sleep(1.0)
            print(f"{hub.counts.judged} judged in all")
            following.cancel()
            await asyncio.wait([following])


async def hand_on(urls: tuple[str, ...], posts: int, minutes: float) -> None:
    """Posts that hear a frame each second, each its own, and beat. A few connections carry them all.

    A process of each post would cost this computer more than all that is measured.
    """
    run, counts, tasks = message.new_run(), Counter[str](), set[asyncio.Task[None]]()
    async with contextlib.AsyncExitStack() as open_ones:
        engines = [
            await open_ones.enter_async_context(connected(EngineOptions(urls, f"posts-{place}"), CLUB, url))
            for place, url in enumerate(urls * CONNECTIONS_A_SERVER)
        ]

        async def put(post: int, number: int) -> None:
            frame = tnc2.read(b"QA%dBC>APRS:>%d" % (number % 997, number))
            octets = message.write(Handed("vhf", 0, int(time.time() * 1000), None, frame))
            engine = engines[post % len(engines)]
            name = f"post-{post}"
            subject = CLUB.heard(name, slice_of(frame))
            with contextlib.suppress(EngineUnansweredError):
                await engine.publish(CLUB.post_beat(name), b"")
            for _ in range(TRIES):
                with contextlib.suppress(EngineUnansweredError):
                    await engine.publish(subject, octets, identity=message.message_id(run, number))
                    counts["handed on"] += 1
                    return
            counts["unanswered"] += 1

        until, number = time.monotonic() + minutes * 60, 0
        while (started := time.monotonic()) < until:
            for post in range(posts):
                number += 1
                task = asyncio.create_task(put(post, number))
                tasks.add(task)
                task.add_done_callback(tasks.discard)
                if post % len(engines) == 0:
                    await asyncio.sleep(0.5 / posts * len(engines))  # posts do not all hear at the same moment
            await asyncio.sleep(max(0.0, started + 1 - time.monotonic()))
        await asyncio.gather(*tasks)
    seconds = time.monotonic() - until + minutes * 60
    print(f"{number} frames of {posts} posts in {seconds:.0f} s: {dict(counts)}", flush=True)


async def _follow(engine: Engine, hub: Follower) -> None:
    run = Run()
    while True:
        with contextlib.suppress(EngineUnansweredError):  # nothing came for a while: begin again from there
            async with contextlib.aclosing(read_stream(engine, hub.order.sequence + 1)) as batches:
                async for batch in batches:
                    hub.take(batch, run)


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--frames", type=int, default=100_000)
    parser.add_argument("--alike", type=int)
    parser.add_argument("--posts", type=int)
    parser.add_argument("--spread", action="store_true", help="judge alone: from one post or from hundreds")
    parser.add_argument("--halves", action="store_true", help="hubs of half the slices beside one of all")
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--hand-on", metavar="URLS", help="be the posts (as --posts starts it)")
    chosen = parser.parse_args()
    spare_the_collector()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger(logging.WARNING))
    if chosen.alike:
        sys.exit(0 if two_hubs(chosen.alike) else 1)
    elif chosen.hand_on:
        asyncio.run(hand_on(tuple(chosen.hand_on.split(",")), chosen.posts, chosen.minutes))
    elif chosen.posts:
        asyncio.run(many_posts(chosen.posts, chosen.minutes))
    elif chosen.halves:
        asyncio.run(half_of_the_slices(chosen.frames))
    elif chosen.spread:
        spread(chosen.frames)
    else:
        asyncio.run(judge_from_the_stream(chosen.frames))
