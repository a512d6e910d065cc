"""A gateway that runs is asked, and neither doubled nor disturbed."""

import asyncio
from pathlib import Path

import pytest

from demo.network_server import NetworkServer
from gateway.doctor.checks import judge
from gateway.doctor.examination import examine, said_by_gateway
from gateway.doctor.finding import Grade
from gateway.groundwork.part import State
from gateway.probes import clock
from gateway.running.lock import held, holder_of
from tests.doctor.posts import LISTEN_SECONDS, Looked, Post
from tests.mosquitto_broker import free_port
from tests.whole_gateway import PASSCODE, Decoder, kiss_of, running, station_file


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(clock, "own_time_server", lambda: None)


async def test_what_it_hears_is_asked_of_it_and_its_decoder_and_login_are_left_alone(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer() as server:
        post = Post(tmp_path, decoder.port)
        (tmp_path / "passcode").write_text(PASSCODE)
        (tmp_path / "passcode").chmod(0o600)
        post.more = [
            f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}'], passcode_file: passcode}}",
            f"web: {{listen: '127.0.0.1:{free_port()}'}}",
        ]
        async with running(station_file(tmp_path, post.write().read_text())):
            await server.until(lambda: server.counts.verified == 1)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>under way"))
            async with asyncio.timeout(20):
                while not await hears(post.path):  # noqa: ASYNC110 - another program is asked
                    await asyncio.sleep(0.01)
            with held([post.path]):
                evidence = await examine(post.path, listen_seconds=LISTEN_SECONDS)
            assert len(server.visitors) == 1
        assert [line.split()[1] for line in server.logins] == [b"QX1GAT-10", b"QX1GAT-DR"]
    looked = Looked(judge(evidence))
    grade, words = looked.one("receivers")
    assert evidence.receivers == {}
    assert grade is Grade.OK
    assert words.startswith("vhf: the running gateway hears it: 1 frames, the last 0 s ago")
    assert looked.one("ports")[0] is Grade.OK
    assert looked.of("same login") == []


async def hears(path: Path) -> bool:
    """Whether the gateway that runs says that its receiver hears."""
    part = (await said_by_gateway(path)).get(("receiver", "vhf"))
    return part is not None and part.state is State.OK


async def test_a_gateway_without_a_web_says_nothing_of_itself(tmp_path: Path) -> None:
    assert await said_by_gateway(Post(tmp_path, 1).write()) == {}
    assert await said_by_gateway(Post(tmp_path, 1, [f"web: {{listen: '127.0.0.1:{free_port()}'}}"]).write()) == {}


def test_the_holder_of_a_lock_is_named_where_it_can_be_seen_and_known_to_be_there_where_not(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "station.yaml"
    assert holder_of(path) is None
    path.touch()
    assert holder_of(path) is None
    with held([path]):
        assert holder_of(path) not in {None, 0}
        monkeypatch.setattr("gateway.running.lock._LOCKS", tmp_path / "none")
        assert holder_of(path) == 0
    assert holder_of(path) is None
    with held([path]):
        pass
