"""The accounts file of the documentation, in a real engine: what a post may do with it, and what it may not."""

import asyncio
import contextlib
import re
from pathlib import Path

import pytest

pytest.importorskip("nats")

from demo.engine_servers import EngineServers
from gateway.club import engine as engine_module
from gateway.club.beat import beat
from gateway.club.engine import Engine, EngineOptions, EngineUnansweredError, RefusedError, connected
from gateway.club.stream_clock import StreamClock
from gateway.club.stream_reader import read_stream
from gateway.club.subjects import Subjects

CLUB = Subjects("wrackholm")
README = (Path(__file__).parents[2] / "gateway/club/README.md").read_text("utf-8")
_SHOWN = re.search(r"^(accounts \{\n.*?^\})", README, re.MULTILINE | re.DOTALL)
assert _SHOWN is not None
PUBLIC_KEY = "UAB2CB576PHBBPQ5ODORRZ2LYCMWPZGWGCN2KDK7DXOIMZASKUY3RLKK"
PRIVATE_KEY = "SUAAAAICAMCAKBQHBAEQUCYMBUHA6EARCIJRIFIWC4MBSGQ3DQOR4H776Y"
"""Of the octets 0 to 31, as the nkeys library writes them; it opens nothing but the engine of this test."""

ACCOUNTS = re.sub(r"\$\w+_PASSWORD", "secret", _SHOWN[1])


def options(servers: EngineServers, user: str, password: str = "secret") -> EngineOptions:
    return EngineOptions(servers.urls, user, user=user, password=password)


async def refuses(engine: Engine, subject: str) -> bool:
    with contextlib.suppress(EngineUnansweredError, RefusedError):
        await engine.publish(subject, b"")
        return False
    return True


async def test_a_post_may_write_its_own_subjects_and_nothing_else(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(engine_module, "ANSWER_SECONDS", 0.5)
    async with EngineServers(1, ACCOUNTS) as servers:
        url = servers.urls[0]
        async with connected(options(servers, "qx1hub-10"), CLUB, url) as hub:
            await hub.make_what_is_absent(1)
            async with connected(options(servers, "headland"), CLUB, url) as post:
                clock = StreamClock()
                await post.publish(CLUB.heard("headland", 3), b"heard")
                await beat(post, CLUB.post_beat("headland"), clock)
                for subject in (CLUB.heard("harbour", 3), CLUB.hub_beat("qx1hub-10"), CLUB.policy):
                    assert await refuses(post, subject)
                with pytest.raises(EngineUnansweredError):
                    await post.key("lease")
                with pytest.raises(EngineUnansweredError):
                    async with contextlib.aclosing(read_stream(post, 1)) as batches:
                        await anext(batches)
            assert (await hub.bounds())[1] == 2, "only what the post may write was stored"


async def test_a_wrong_password_is_told_without_it() -> None:
    async with EngineServers(1, ACCOUNTS) as servers:
        with pytest.raises(engine_module.EngineError) as told:
            async with connected(options(servers, "headland", "hunter2"), CLUB, servers.urls[0]):
                await asyncio.sleep(0)
        assert "hunter2" not in str(told.value)
        assert "hunter2" not in repr(options(servers, "headland", "hunter2"))


async def test_a_key_in_a_file_opens_the_engine(tmp_path: Path) -> None:
    file = tmp_path / "headland.key"
    file.write_text(PRIVATE_KEY)
    accounts = f"accounts {{ club {{ jetstream: enabled, users: [{{nkey: {PUBLIC_KEY}}}] }} }}"
    async with EngineServers(1, accounts) as servers:
        with_key = EngineOptions(servers.urls, "headland", credentials=str(file))
        async with connected(with_key, CLUB, servers.urls[0]) as engine:
            assert await engine.make_what_is_absent(1)
        assert "headland.key" not in repr(with_key)
