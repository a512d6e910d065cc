"""What one hub judges from the stream: frames a second, beside what its client alone reads; two hubs, bit for bit.

python -m tests.bench.club_follow                      # a real engine: judging beside bare reading
python -m tests.bench.club_follow --alike 1000000      # two hubs, posts that come and go, without an engine
python -m tests.bench.club_follow --posts 500 --minutes 10
"""

import argparse
import asyncio
import contextlib
import random
import resource
import sys
import time
from collections.abc import Iterator, Sequence

from demo.engine_servers import EngineServers
from gateway.club import message
from gateway.club.engine import Engine, EngineOptions, EngineUnansweredError, connected
from gateway.club.follower import Follower, StreamMessage
from gateway.club.message import Handed
from gateway.club.policy_entry import PolicyEntry
from gateway.club.post import ClubPost, PostOptions
from gateway.club.snapshot import read_snapshot
from gateway.club.stream_reader import read_stream
from gateway.club.subjects import Subjects
from gateway.frames import tnc2
from gateway.frames.heard import Run
from gateway.judge.source import PolicyText
from gateway.judge.state import JUDGE
from gateway.judge.verdict import Verdict
from gateway.settings.policy_files import ready_policies
from tests.club.test_follower import entry, follower, stream

CLUB = Subjects("wrackholm")
PIECE = 50_000
TRIES = 5
Told = tuple[int, int, Verdict]
"""Of a frame: its message, its moment, and what the hub decided."""


def megabytes() -> float:
    """The most that this process has held."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def alike(frames: int) -> bool:
    """Two hubs over so many frames, while posts come and go; whether they agreed in everything.

    In every piece the second is lost at some place, starts from what the first kept before, and reads on behind that.
    """
    chance = random.Random(frames)
    first, second = follower(), follower()
    run, other = Run(), Run()
    begun, sequence, starts = time.process_time(), 0, 0
    while first.counts.judged < frames:
        messages = piece(starts, sequence)
        sequence += len(messages)
        kept_at = chance.randrange(1, len(messages) // 2)
        lost_at = chance.randrange(kept_at, len(messages))
        before = told(first, messages[:kept_at], run, chance)
        kept = first.snapshot()
        behind = told(first, messages[kept_at:], run, chance)
        by_second = told(second, messages[:lost_at], other, chance)
        if kept is None or by_second != [*before, *behind][: len(by_second)]:
            return False
        second = follower()
        second.resume(read_snapshot(kept.to_octets()))
        if told(second, messages[kept_at:], other, chance) != behind or all_known(first) != all_known(second):
            return False
        starts += 1
    spent = time.process_time() - begun
    print(f"{sequence} messages, {first.counts.judged} frames judged by two hubs alike, bit for bit; {starts} starts")
    print(f"{spent:.0f} s of a core, {megabytes():.0f} MB at most")
    return True


def piece(number: int, sequence: int) -> list[StreamMessage]:
    """The next messages of a stream, after so many."""
    later_ms = number * 7_000_000
    found = stream(PIECE - 1, draw=number)[1 if number else 0 :]  # one policy begins, in the first piece
    return [
        StreamMessage(place, one.stamp_ms + later_ms, one.subject, one.octets)
        for place, one in enumerate(found, sequence + 1)
    ]


def told(hub: Follower, messages: Sequence[StreamMessage], run: Run, chance: random.Random) -> list[Told]:
    """What a hub says of each frame, read in batches of any size."""
    found: list[Told] = []
    place = 0
    while place < len(messages):
        size = chance.randint(1, 400)
        taken = hub.take(messages[place : place + size], run)
        found += [(one.sequence, one.moment_ms, one.judged.verdict) for one in taken]
        place += size
    return found


def all_known(hub: Follower) -> str:
    """All that a hub knows, as it would keep it."""
    snapshot = hub.snapshot()
    return "" if snapshot is None else snapshot.model_dump_json()


def handed(number: int) -> bytes:
    """One of many stations says something new."""
    line = b"QA%dBC-%d>APRS,WIDE1-1:!5836.%02dN/00355.%02dW>%d" % (
        number % 10, number % 16, number % 60, number % 59, number,
    )  # fmt: skip
    return message.write(Handed("vhf", 0, int(time.time() * 1000), None, tnc2.read(line)))


async def fill(engine: Engine, frames: int) -> None:
    """Put so many frames into the stream."""
    texts = (PolicyText("receive-only.yaml", (ready_policies() / "receive-only.yaml").read_text("utf-8")),)
    await engine.publish(CLUB.policy, PolicyEntry(JUDGE, begins=True, texts=texts).to_octets())
    limit = asyncio.Semaphore(200)

    async def put(number: int) -> None:
        async with limit:
            subject = CLUB.heard(f"post-{number % 20}")
            for _ in range(TRIES):  # a busy computer: the id keeps it from being stored twice
                with contextlib.suppress(EngineUnansweredError):
                    await engine.publish(subject, handed(number), identity=f"run-{number}")
                    return

    for numbers in pieces(frames):
        await asyncio.gather(*(put(number) for number in numbers))


def pieces(frames: int) -> Iterator[range]:
    """The numbers, a few thousand at a time."""
    for first in range(0, frames, 5000):
        yield range(first, min(first + 5000, frames))


async def read_through(engine: Engine, frames: int, hub: Follower | None) -> float:
    """Read it all, judged or not; gives back seconds of a core."""
    run, begun, count = Run(), time.process_time(), 0
    async with contextlib.aclosing(read_stream(engine, 1)) as batches:
        async for batch in batches:
            count += len(batch)
            if hub is not None:
                hub.take(batch, run)
            if count >= frames:
                break
    return time.process_time() - begun


async def judge_from_the_stream(frames: int) -> None:
    """Bare reading and judging, by turns."""
    async with (
        EngineServers(1) as servers,
        connected(EngineOptions(servers.urls, "hub"), CLUB, servers.urls[0]) as engine,
    ):
        await engine.make_what_is_absent(1)
        await fill(engine, frames)
        for _ in range(3):
            bare = await read_through(engine, frames, None)
            hub = follower()
            hub.begin(1)
            judged = await read_through(engine, frames, hub)
            assert hub.counts.judged >= frames - 1
            print(
                f"bare reading {frames / bare:8.0f}/s, judging too {frames / judged:8.0f}/s, {bare / judged:.2f} of it"
            )


async def many_posts(posts: int, minutes: float) -> None:
    """So many posts at one frame a second, all in this process, and one hub that follows."""
    async with EngineServers(3) as servers:
        options = EngineOptions(servers.urls, "hub")
        async with connected(options, CLUB, servers.urls[0]) as engine:
            await engine.make_what_is_absent(3)
            await engine.publish(CLUB.policy, entry(begins=True).to_octets())
            made = [
                ClubPost(PostOptions(EngineOptions(servers.urls, f"post-{n}"), CLUB, f"post-{n}", 10_000))
                for n in range(posts)
            ]
            running = [asyncio.create_task(post.run()) for post in made]
            hub = follower()
            hub.begin(1)
            following = asyncio.create_task(_follow(engine, hub))
            run, until, number = Run(), time.monotonic() + minutes * 60, 0
            while time.monotonic() < until:
                started = time.monotonic()
                for post in made:
                    number += 1
                    frame = tnc2.read(b"QA%dBC>APRS:>%d" % (number % 997, number))
                    post.offer([run.hear(run.now(), "vhf", 0, frame)])
                await asyncio.sleep(max(0.0, started + 1 - time.monotonic()))
                if number // posts % 30 == 0:
                    behind_ms = int(time.time() * 1000) - hub.order.stamp_ms
                    ends: dict[str, int] = {}
                    for post in made:
                        for end, count in post.hand_over.counts.items():
                            ends[end] = ends.get(end, 0) + count
                    print(
                        f"{number} offered, {hub.counts.judged} judged, {behind_ms} ms behind, "
                        f"{megabytes():.0f} MB, {ends}"
                    )
            for task in (*running, following):
                task.cancel()
            await asyncio.gather(*running, following, return_exceptions=True)


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
    parser.add_argument("--minutes", type=float, default=10.0)
    chosen = parser.parse_args()
    if chosen.alike:
        sys.exit(0 if alike(chosen.alike) else 1)
    asyncio.run(many_posts(chosen.posts, chosen.minutes) if chosen.posts else judge_from_the_stream(chosen.frames))
