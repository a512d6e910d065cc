"""A whole club on real sockets: three servers of the engine, posts, hubs, and the network's server."""

import contextlib
import json
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pytest

pytest.importorskip("nats")

from demo.engine_servers import EngineServers
from demo.network_server import NetworkServer
from gateway import settings
from gateway.club.slices import slice_of_sender
from gateway.feed.heard_object import HeardPayload, encode, heard_object
from gateway.feed.schemas import Schema
from gateway.groundwork.part import PartKind, State
from gateway.running.service import Service
from tests.payload_schemas import held_to
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, running

PASSCODES = {"QX1HUB-10": "18096", "QX2HUB-10": "17840"}
"""By the algorithm in common use (from memory)."""


@dataclass
class House(Ear):
    """It also keeps whose verdicts it is told."""

    judged_by: set[str] = field(default_factory=set)

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        super().offer(frames)
        self.judged_by |= {json.loads(frame.encoded())["judged_by"] for frame in frames}


@dataclass
class Stations:
    """Writes the station files of a club."""

    folder: Path
    engine: EngineServers
    network: NetworkServer

    def post(self, name: str, decoder: Decoder) -> settings.StationFile:
        return self._read(
            f"{name}.yaml",
            f"station: {{callsign: QX3{name[:3].upper()}-1, position: {{latitude: 58.6, longitude: -3.9167}}}}\n"
            f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
            f"club: {{name: wrackholm, servers: {self._servers}, role: post, post: {name}}}\n",
        )

    def hub(
        self, callsign: str, decoder: Decoder | None = None, more: str = "", slices: Sequence[int] = range(16)
    ) -> settings.StationFile:
        hears = f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n" if decoder else ""
        return self._read(
            f"{callsign}.yaml",
            f"station: {{callsign: {callsign}}}\n{hears}{more}\n"
            f"uplink: {{servers: ['tcp://127.0.0.1:{self.network.port}']}}\n"
            f"club: {{name: wrackholm, servers: {self._servers}, role: hub, lease: 2s, slices: {[*slices]}}}\n",
            PASSCODES[callsign],
        )

    @property
    def _servers(self) -> str:
        return "[" + ", ".join(f"'{url}'" for url in self.engine.urls) + "]"

    def _read(self, name: str, text: str, passcode: str = "-1") -> settings.StationFile:
        path = self.folder / name
        path.write_text(text, "utf-8")
        return settings.load(path, {settings.PASSCODE_VARIABLE: passcode})


@pytest.fixture
async def stations(tmp_path: Path) -> AsyncIterator[Stations]:
    async with EngineServers() as engine, NetworkServer(keep_lines=1000) as network:
        yield Stations(tmp_path, engine, network)


def club_part(service: Service) -> tuple[State, str]:
    part = next(part for part in service.health().parts if part.kind is PartKind.CLUB)
    return part.state, part.why


def policy_of(service: Service) -> object:
    return service.health().watched["club"]["policy"]


def holds(service: Service) -> bool:
    return bool(service.health().watched["club"]["holds"])


async def test_what_two_posts_hear_goes_up_once_by_the_hub_that_holds_the_lease(stations: Stations) -> None:
    network = stations.network
    async with contextlib.AsyncExitStack() as club:
        decoders = [await club.enter_async_context(Decoder()) for _ in range(2)]
        hub = await club.enter_async_context(running(stations.hub("QX1HUB-10"), hub_ear := House()))
        await until(lambda: holds(hub))
        headland = await club.enter_async_context(running(stations.post("headland", decoders[0]), post_ear := House()))
        harbour = await club.enter_async_context(running(stations.post("harbour", decoders[1])))
        await until(lambda: club_part(headland)[0] is club_part(harbour)[0] is State.OK)
        for decoder in decoders:
            await decoder.send(kiss_of(b"QA1BCD-9>APRS,WIDE1-1:!5836.00N/00355.00W>moored"))
        await until(lambda: len(hub_ear.judged) == 2)
        await network.until(lambda: len(network.lines) == 1)
        assert list(network.lines) == [b"QA1BCD-9>APRS,WIDE1-1,qAO,QX1HUB-10:!5836.00N/00355.00W>moored\r\n"]
        assert sorted(one.heard.receiver for one in hub_ear.judged) == ["harbour/vhf", "headland/vhf"]
        assert [one.verdict.reason for one in hub_ear.judged] == [None, "duplicate"]
        of_headland = next(one for one in hub_ear.judged if one.heard.post == "headland")
        place = held_to(Schema.HEARD, encode(heard_object(of_headland)))["place"]
        assert place == {"latitude": 58.6, "longitude": -3.9167}, "as the page warns, and as a replay needs"
        assert post_ear.judged[0].forward, "the house of the post gets its feed as ever"
        assert post_ear.judged_by == {"post"}
        assert hub_ear.judged_by == {"club"}
        assert post_ear.sent == []
        health = held_to(Schema.HEALTH, encode(hub.health().to_object()))
        assert [post["name"] for post in health["club"]["posts"]] == ["harbour", "headland"]
        assert sum(post["first"] for post in health["club"]["posts"]) == 1
        assert hub.health().counts.adds_up


async def test_hubs_that_divide_a_club_send_every_frame_once_each_its_own(stations: Stations) -> None:
    network, low = stations.network, range(8)
    senders = [f"QA{number}BCD" for number in range(10)]
    async with contextlib.AsyncExitStack() as club:
        decoder = await club.enter_async_context(Decoder())
        first = await club.enter_async_context(running(stations.hub("QX1HUB-10", slices=low)))
        second = await club.enter_async_context(running(stations.hub("QX2HUB-10", slices=range(8, 16))))
        post = await club.enter_async_context(running(stations.post("headland", decoder)))
        await until(lambda: holds(first) and holds(second) and club_part(post)[0] is State.OK)
        for sender in senders:
            await decoder.send(kiss_of(f"{sender}>APRS:>text".encode()))
        await network.until(lambda: len(network.lines) == len(senders))
        assert len({slice_of_sender(sender) in low for sender in senders}) == 2
        assert sorted(network.lines) == [
            f"{sender}>APRS,qAO,QX{1 if slice_of_sender(sender) in low else 2}HUB-10:>text\r\n".encode()
            for sender in senders
        ]
        health = held_to(Schema.HEALTH, encode(first.health().to_object()))
        assert health["club"]["slices"] == [*low]
        assert first.health().counts.adds_up
        assert second.health().counts.adds_up


async def test_a_hub_that_would_take_some_of_another_hubs_slices_cannot_send_and_says_so(stations: Stations) -> None:
    async with running(stations.hub("QX1HUB-10")) as first:
        await until(lambda: holds(first))
        async with running(stations.hub("QX2HUB-10", slices=[0, 1])) as second:
            await until(lambda: "takes slices 0, 1, and others of the club all slices" in club_part(second)[1])
            assert club_part(second)[0] is State.DEGRADED
            assert not holds(second)
            assert holds(first)


async def test_another_hub_takes_over_from_one_that_stops_and_sends_nothing_again(stations: Stations) -> None:
    network = stations.network
    async with contextlib.AsyncExitStack() as club:
        decoder = await club.enter_async_context(Decoder())
        async with running(stations.hub("QX1HUB-10")) as first:
            await until(lambda: holds(first))
            second = await club.enter_async_context(running(stations.hub("QX2HUB-10"), ear := Ear()))
            post = await club.enter_async_context(running(stations.post("headland", decoder)))
            await until(lambda: club_part(post)[0] is club_part(second)[0] is State.OK)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>one"))
            await network.until(lambda: len(network.lines) == 1)
            await until(lambda: len(ear.judged) == 1)
            assert not holds(second)
        await until(lambda: holds(second))
        await decoder.send(kiss_of(b"QA1BCD-9>APRS:>two"))
        await network.until(lambda: len(network.lines) == 2)
        assert [line.partition(b",qAO,")[2] for line in network.lines] == [b"QX1HUB-10:>one\r\n", b"QX2HUB-10:>two\r\n"]
        assert second.health().counts.adds_up


async def test_what_a_hub_hears_itself_comes_back_from_the_stream(stations: Stations) -> None:
    async with Decoder() as decoder, running(stations.hub("QX1HUB-10", decoder), ear := Ear()) as hub:
        await until(lambda: holds(hub))
        await decoder.send(kiss_of(b"QA1BCD-9>APRS:>heard at the hub"))
        await until(lambda: len(ear.sent) == 1)
        assert ear.judged[0].heard.receiver == "qx1hub-10/vhf"
        assert ear.sent == [b"QA1BCD-9>APRS,qAO,QX1HUB-10:>heard at the hub\r\n"]


async def test_a_hub_that_reloads_its_policy_tells_it_to_the_club(stations: Stations) -> None:
    policy = stations.folder / "club.yaml"
    policy.write_text("version: 1\nname: club\n")
    async with Decoder() as decoder, running(stations.hub("QX1HUB-10", decoder, "policy: ./club.yaml")) as hub:
        await until(lambda: holds(hub))
        async with running(stations.hub("QX2HUB-10"), other := Ear()) as second:
            await until(lambda: "club@" in club_part(second)[1])
            before = policy_of(second)
            policy.write_text("version: 1\nname: club\nrules: [{name: none, when: {source: '*'}, then: keep}]\n")
            hub.reload()
            await until(lambda: policy_of(second) != before)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>kept"))
            await until(lambda: len(other.judged) == 1)
            assert other.judged[0].verdict.rule == "none"


async def test_a_post_waits_for_the_stream_and_says_so(stations: Stations) -> None:
    async with Decoder() as decoder, running(stations.post("headland", decoder)) as post:
        await until(lambda: "has no stream" in club_part(post)[1])
        await decoder.send(kiss_of(b"QA1BCD-9>APRS:>kept"))
        assert await stations.engine.leader_of("stile-wrackholm") is None, "a post makes nothing in the engine"
        async with running(stations.hub("QX1HUB-10"), ear := Ear()):
            await until(lambda: len(ear.judged) == 1)


async def test_a_second_hub_with_the_same_login_is_kept_from_the_network(stations: Stations) -> None:
    async with running(stations.hub("QX1HUB-10")) as first:
        await until(lambda: holds(first))
        async with running(stations.hub("QX1HUB-10")) as second:
            await until(lambda: "has this login" in club_part(second)[1])
            assert stations.network.counts.connections == 1
            assert holds(first)


async def test_the_engine_away_frames_are_kept_and_that_is_said(stations: Stations) -> None:
    async with Decoder() as decoder, running(stations.post("headland", decoder)) as post:
        await until(lambda: "has no stream" in club_part(post)[1])
        for place in range(3):
            await stations.engine.kill(place)
        await until(lambda: club_part(post)[0] is State.DOWN)
        assert "frames are kept, not sent up" in club_part(post)[1]
