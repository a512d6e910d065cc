"""What a real engine does with what a club asks of it: what is made, what is left as it is, what is stored once."""

from collections.abc import AsyncIterator

import pytest

pytest.importorskip("nats")

from nats.js import api

from demo.engine_servers import EngineServers
from gateway.club.engine import (
    AbsentError,
    Engine,
    EngineOptions,
    EngineUnansweredError,
    OvertakenError,
    RefusedError,
    connected,
)
from gateway.club.subjects import Subjects

CLUB = Subjects("wrackholm")


@pytest.fixture
async def engine() -> AsyncIterator[Engine]:
    async with (
        EngineServers(1) as servers,
        connected(EngineOptions(servers.urls, "qx1hub-10"), CLUB, servers.urls[0]) as found,
    ):
        yield found


async def test_what_is_absent_is_made_as_the_page_says_once(engine: Engine) -> None:
    assert await engine.make_what_is_absent(1) == [CLUB.stream, CLUB.keys, CLUB.snapshots]
    assert await engine.make_what_is_absent(1) == []
    made = (await engine.stream.stream_info(CLUB.stream)).config
    assert (made.max_age, made.max_bytes, made.duplicate_window) == (3600, 1024**3, 120)
    assert (made.storage, made.discard, made.num_replicas) == (api.StorageType.FILE, api.DiscardPolicy.OLD, 1)
    keys = (await engine.stream.stream_info(f"KV_{CLUB.keys}")).config
    assert not keys.max_age, "the lease does not expire"


async def test_what_exists_is_left_as_the_engines_operator_made_it(engine: Engine) -> None:
    own = api.StreamConfig(name=CLUB.stream, subjects=[CLUB.everything], max_age=60, allow_direct=True)
    await engine.stream.add_stream(own)
    assert CLUB.stream not in await engine.make_what_is_absent(1)
    assert (await engine.stream.stream_info(CLUB.stream)).config.max_age == 60


async def test_a_message_that_is_handed_over_again_is_stored_once(engine: Engine) -> None:
    await engine.make_what_is_absent(1)
    first = await engine.publish(CLUB.heard("headland", 3), b"heard", identity="run-1")
    assert await engine.publish(CLUB.heard("headland", 3), b"heard", identity="run-1") == first
    assert await engine.bounds() == (first, first)


async def test_a_key_is_written_in_the_place_of_what_was_seen_or_not_at_all(engine: Engine) -> None:
    await engine.make_what_is_absent(1)
    revision = await engine.set_key("lease", b"one", 0)
    with pytest.raises(OvertakenError):
        await engine.set_key("lease", b"two", 0)
    assert await engine.key("lease") == (revision, b"one")


async def test_where_there_is_no_stream_that_is_said(engine: Engine) -> None:
    with pytest.raises(AbsentError):
        await engine.publish(CLUB.post_beat("headland"), b"")


async def test_a_policy_is_told_behind_the_one_that_was_seen_or_not_at_all(engine: Engine) -> None:
    await engine.make_what_is_absent(1)
    first = await engine.publish(CLUB.policy, b"one", after=0)
    with pytest.raises(OvertakenError):
        await engine.publish(CLUB.policy, b"two", after=0)
    assert await engine.last_under(CLUB.policy) == (first, b"one")
    await engine.publish(CLUB.policy, b"two", after=first)


async def test_an_engine_that_is_full_stores_nothing_and_does_not_say_that_it_did(engine: Engine) -> None:
    full = api.StreamConfig(
        name=CLUB.stream, subjects=[CLUB.everything], max_msgs=1, discard=api.DiscardPolicy.NEW, allow_direct=True
    )
    await engine.stream.add_stream(full)
    await engine.publish(CLUB.post_beat("headland"), b"")
    with pytest.raises((RefusedError, EngineUnansweredError)):
        await engine.publish(CLUB.post_beat("headland"), b"")
    assert await engine.bounds() == (1, 1)
