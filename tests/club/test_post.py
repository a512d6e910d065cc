"""What a post makes of the moments at which its frames were heard."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest

pytest.importorskip("nats")

from gateway.club import beat, membership, message
from gateway.club.engine import EngineOptions, EngineUnansweredError
from gateway.club.hand_over import End
from gateway.club.options import ClubOptions, Role
from gateway.club.post import ClubPost
from gateway.club.subjects import Subjects
from gateway.frames import tnc2
from gateway.frames.heard import Moment, Run
from gateway.groundwork.clocks import steady_ms

FRESHNESS_MS = 10_000
OPTIONS = ClubOptions(
    Subjects("wrackholm"),
    Role.POST,
    EngineOptions(("nats://127.0.0.1:4222",), "headland"),
    callsign="QX1GAT-10",
    post_name="headland",
    lease_ms=6000,
    freshness_ms=FRESHNESS_MS,
)


class Forgetful:
    """An engine that does not answer the first frame, and whose clock is another after that."""

    def __init__(self) -> None:
        self.lost = asyncio.Event()
        self.stamp = 1_780_747_200_000.0
        self.handed: list[tuple[str, int]] = []
        """Id and moment of every frame that was published."""

        self.stored = asyncio.Event()

    async def publish(self, _subject: str, octets: bytes, *, identity: str = "") -> int:
        if identity:
            self.handed.append((identity, message.read(octets).moment_ms))
            self.stamp += 60_000
            if len(self.handed) == 1:
                raise EngineUnansweredError
            self.stored.set()
        return 1

    async def stamp_ms(self, _subject: str, _sequence: int) -> float:
        return self.stamp


async def test_a_frame_that_is_handed_over_again_keeps_its_id_and_is_never_told_to_be_younger(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    engine = Forgetful()

    @asynccontextmanager
    async def connect(*_: object) -> AsyncIterator[Forgetful]:
        yield engine

    monkeypatch.setattr(membership, "connected", connect)
    monkeypatch.setattr(beat, "BEAT_SECONDS", 0.01)
    monkeypatch.setattr(beat, "SHORTEST_PAUSE_SECONDS", 0.01)
    run = Run()
    post = ClubPost(OPTIONS, run)
    post.offer([run.hear(run.now(), "vhf", 0, tnc2.read(b"QA1BCD-9>APRS:>text"))])
    task = asyncio.create_task(post.run())
    async with asyncio.timeout(5):
        await engine.stored.wait()
    task.cancel()
    await asyncio.wait([task])
    assert len(engine.handed) == 2
    assert engine.handed[0] == engine.handed[1]
    assert post.hand_over.counts[End.HANDED_ON] == 1


def test_what_waited_while_the_post_stood_still_is_as_old_as_it_is() -> None:
    run = Run()
    post = ClubPost(OPTIONS, run)
    now = run.now()
    for age_ms in (FRESHNESS_MS + 1000, FRESHNESS_MS - 5000, 0):
        moment = Moment(now.elapsed_ms - age_ms, now.time_ms - age_ms)
        post.offer([run.hear(moment, "vhf", 0, tnc2.read(b"QA1BCD-9>APRS:>%d" % age_ms))])
    post.hand_over.expire(steady_ms())
    assert post.hand_over.counts[End.LATE] == 1
    assert post.hand_over.waiting == 2
