"""The whole gateway on real sockets: a decoder's on one side, the network's and a broker's on the other."""

import itertools
import json
from collections.abc import Sequence
from pathlib import Path

import pytest
from structlog.testing import capture_logs

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.feed.health import Counts
from gateway.feed.heard_object import HeardPayload
from gateway.feed.schemas import Schema
from gateway.groundwork.part import PartKind, State
from gateway.judge.verdict import Reason
from tests.mosquitto_broker import MosquittoBroker, retained, witness
from tests.payload_schemas import held_to
from tests.waiting import until
from tests.whole_gateway import Decoder, Ear, kiss_of, part, policy_in_force, running, station_file

MOORED = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>moored"
AWKWARD = b"QA1BCD-9>APRS:>\x00\xc0\xdb\xff caf\xe9 \xdb\xdc  "


def station_text(decoder: Decoder, server: NetworkServer | None = None, more: str = "") -> str:
    uplink = f"uplink: {{servers: ['tcp://127.0.0.1:{server.port}']}}\n" if server else ""
    return (
        "station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}\n"
        f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n{uplink}{more}"
    )


async def test_a_frame_into_the_decoders_socket_comes_out_of_the_networks_byte_exact(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer(keep_lines=10) as server:
        async with running(station_file(tmp_path, station_text(decoder, server))):
            await decoder.send(kiss_of(MOORED) + kiss_of(AWKWARD))
            await server.until(lambda: len(server.lines) == 2)
        assert list(server.lines) == [
            b"QA1BCD-9>APRS,QD1AA*,WIDE2-1,qAO,QX1GAT-10:!5836.00N/00355.00W>moored\r\n",
            b"QA1BCD-9>APRS,qAO,QX1GAT-10:>\x00\xc0\xdb\xff caf\xe9 \xdb\xdc  \r\n",
        ]
        assert server.counts.accepted == 2
        assert server.logins[0].startswith(b"user QX1GAT-10 pass 21161 vers Stile ")


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_a_frame_is_on_a_real_broker_as_json_seen_by_an_independent_client(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer() as server, MosquittoBroker() as broker:
        bus = f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n"
        async with witness(broker, "stile/QX1GAT-10/#") as house:
            async with running(station_file(tmp_path, station_text(decoder, server, bus))):
                await decoder.send(kiss_of(MOORED) + kiss_of(MOORED.replace(b",QD1AA*", b"")))
                heard = await house.until_topic("stile/QX1GAT-10/heard", 2)
                forwarded = await house.until_topic("stile/QX1GAT-10/forwarded")
                lines = await house.until_topic("stile/QX1GAT-10/lines", 2)
            assert (await retained(broker))["stile/QX1GAT-10/status"] == b"offline"
        first, copy = (held_to(Schema.HEARD, message.payload) for message in heard)
        assert (first["source"], first["path"]) == ("QA1BCD-9", ["QD1AA*", "WIDE2-1"])
        assert (first["verdict"], first["sequence"], copy["reason"]) == ("forward", 1, "duplicate")
        assert first["report"]["kind"] == "position"
        assert first["report"]["distance_km"] == pytest.approx(0.001, abs=0.005)
        sent = held_to(Schema.FORWARDED, forwarded[0].payload)
        assert sent["line"] == "QA1BCD-9>APRS,QD1AA*,WIDE2-1,qAO,QX1GAT-10:!5836.00N/00355.00W>moored"
        assert lines[0].payload == MOORED


async def test_counts_add_up_whatever_is_heard(tmp_path: Path) -> None:
    ear = Ear()
    async with Decoder() as decoder, NetworkServer() as server:
        station = station_file(tmp_path, station_text(decoder, server))
        async with running(station, ear) as service:
            await decoder.send(
                b"".join(kiss_of(b"QA1BCD-9>APRS:>%d" % number) for number in range(500))
                + kiss_of(b"QA1BCD-9>APRS,TCPIP*:>no")
                + b"\xc0\x00not a frame\xc0"
            )
            await until(lambda: len(ear.judged) == 502)
        counts = service.health().counts
        assert counts.adds_up
        assert (counts.heard, counts.forward, counts.waiting) == (502, 500, 0)
        assert counts.keep_by_reason == {Reason.INTERNET_ORIGIN: 1, Reason.DAMAGED: 1}
        assert counts.outcomes is not None
        assert counts.outcomes["sent"] == 500 == server.counts.accepted == len(ear.sent)
        assert [judged.heard.sequence for judged in ear.judged] == list(range(1, 503))


async def test_without_an_uplink_it_only_listens(tmp_path: Path) -> None:
    ear = Ear()
    async with Decoder() as decoder, running(station_file(tmp_path, station_text(decoder)), ear) as service:
        await decoder.send(kiss_of(MOORED))
        await until(lambda: len(ear.judged) == 1)
        counts = service.health().counts
        assert (counts.heard, counts.forward, counts.outcomes) == (1, 1, None)
        assert counts.adds_up


@pytest.mark.parametrize("adds_up", [True, False])
async def test_a_closing_summary_that_does_not_add_up_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, *, adds_up: bool
) -> None:
    monkeypatch.setattr(Counts, "adds_up", adds_up)
    with capture_logs() as logged:
        async with Decoder() as decoder, running(station_file(tmp_path, station_text(decoder))):
            pass
    assert ("do not add up" in logged[-1]["event"]) is not adds_up


async def test_an_unverified_login_sends_nothing_and_the_rest_goes_on(tmp_path: Path) -> None:
    ear = Ear()
    conduct = Conduct(answer=Answer.UNVERIFIED)
    async with Decoder() as decoder, NetworkServer(conduct=conduct) as server:
        async with running(station_file(tmp_path, station_text(decoder, server)), ear) as service:
            await until(lambda: part(service, PartKind.UPLINK).state is State.DEGRADED)
            await until(lambda: bool(server.counts.unverified))
            await decoder.send(kiss_of(MOORED))
            await until(lambda: len(ear.judged) == 1)
            outcomes = service.health().counts.outcomes
            assert outcomes is not None
            assert outcomes["refused"] == 1
        assert server.counts.lines == 0


async def test_ports_of_a_modem_are_told_apart_and_several_receivers_share_one_memory(tmp_path: Path) -> None:
    ear = Ear()
    async with Decoder() as one, Decoder() as two:
        text = (
            "station: {callsign: QX1GAT-10}\n"
            "receivers:\n"
            f"  - {{name: one, from: 'kiss+tcp://127.0.0.1:{one.port}'}}\n"
            f"  - {{name: two, from: 'kiss+tcp://127.0.0.1:{two.port}'}}\n"
        )
        async with running(station_file(tmp_path, text), ear):
            await one.send(kiss_of(MOORED, port=12))
            await until(lambda: len(ear.judged) == 1)
            await two.send(kiss_of(MOORED, port=3))
            await until(lambda: len(ear.judged) == 2)
    heard = [(judged.heard.receiver, judged.heard.port, judged.verdict.reason) for judged in ear.judged]
    assert heard == [("one", 12, None), ("two", 3, Reason.DUPLICATE)]


async def test_a_reload_swaps_the_policy_and_refuses_a_bad_one(tmp_path: Path) -> None:
    policy = tmp_path / "mine.yaml"
    policy.write_text("version: 1\nname: mine\n")
    ear = Ear()
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, more="policy: ./mine.yaml\n"))
        async with running(station, ear) as service:
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>one"))
            await until(lambda: len(ear.judged) == 1)

            policy.write_text("version: 1\nname: mine\nrules: [{name: nothing, then: keep}]\n")
            service.reload()
            await until(lambda: ear.judged[0].verdict.policy not in policy_in_force(service))
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>two"))
            await until(lambda: len(ear.judged) == 2)

            policy.write_text("version: 1\nname: mine\nrules: [{nmae: nothing, then: keep}]\n")
            service.reload()
            await until(lambda: part(service, PartKind.POLICY).state is State.DEGRADED)
            refused = part(service, PartKind.POLICY)
            await decoder.send(kiss_of(b"QA1BCD-9>APRS:>three"))
            await until(lambda: len(ear.judged) == 3)
    first, second, third = (judged.verdict for judged in ear.judged)
    assert (first.reason, second.rule, third.rule) == (None, "nothing", "nothing")
    assert first.policy != second.policy == third.policy
    assert "mine.yaml:3" in refused.why
    assert "nmae" in refused.why


async def test_a_policy_that_is_saved_is_read_again_by_itself(tmp_path: Path) -> None:
    policy, part_of_it = tmp_path / "mine.yaml", tmp_path / "club" / "club.yaml"
    part_of_it.parent.mkdir()
    part_of_it.write_text("version: 1\nname: club\n")
    policy.write_text("version: 1\nname: mine\n")
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, more="policy: ./mine.yaml\n"))
        async with running(station) as service:
            await until(lambda: part(service, PartKind.RECEIVER).why != "")  # it is open, and the files are watched
            labels = [policy_in_force(service)]
            for text in ("include: [club/club.yaml]", "include: [club/club.yaml]\nduplicates: {window: 60s}"):
                # As most editors save: a new file takes the old one's place.
                written = tmp_path / "written"
                written.write_text(f"version: 1\nname: mine\n{text}\n")
                written.replace(policy)
                await until(lambda: policy_in_force(service) not in labels)
                labels.append(policy_in_force(service))
            saves = itertools.count()

            def is_noticed_when_saved_again() -> bool:
                part_of_it.write_text(f"version: 1\nname: club\n# save {next(saves)}\n")
                return policy_in_force(service) not in labels

            await until(is_noticed_when_saved_again)


async def test_duplicates_are_known_over_a_reload(tmp_path: Path) -> None:
    ear = Ear()
    policy = tmp_path / "mine.yaml"
    policy.write_text("version: 1\nname: mine\n")
    async with Decoder() as decoder:
        station = station_file(tmp_path, station_text(decoder, more="policy: ./mine.yaml\n"))
        async with running(station, ear) as service:
            await decoder.send(kiss_of(MOORED))
            await until(lambda: len(ear.judged) == 1)
            before = policy_in_force(service)
            policy.write_text("version: 1\nname: mine\nduplicates: {window: 60s}\n")
            service.reload()
            await until(lambda: policy_in_force(service) != before)
            await decoder.send(kiss_of(MOORED))
            await until(lambda: len(ear.judged) == 2)
    assert ear.judged[1].verdict.reason is Reason.DUPLICATE


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_a_broker_that_is_down_or_stalled_does_not_delay_the_uplink(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer() as server, MosquittoBroker() as broker:
        bus = f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n"
        async with running(station_file(tmp_path, station_text(decoder, server, bus))) as service:
            await until(lambda: part(service, PartKind.BUS).state is State.OK)
            broker.pause()
            await decoder.send(b"".join(kiss_of(b"QA1BCD-9>APRS:>stalled %d" % number) for number in range(3000)))
            await server.until(lambda: server.counts.accepted == 3000)
            await broker.kill()
            await decoder.send(b"".join(kiss_of(b"QA1BCD-9>APRS:>dead %d" % number) for number in range(1000)))
            await server.until(lambda: server.counts.accepted == 4000)
            shed = service.health().to_object()["shed"]["bus"]
            assert shed["heard"] > 0


async def test_an_uplink_that_is_down_does_not_delay_the_house(tmp_path: Path) -> None:
    ear = Ear()
    async with Decoder() as decoder, NetworkServer() as server:
        server.refuse()
        async with running(station_file(tmp_path, station_text(decoder, server)), ear) as service:
            await decoder.send(kiss_of(MOORED))
            await until(lambda: len(ear.judged) == 1)
            assert service.health().counts.waiting == 1
    outcomes = service.health().counts.outcomes
    assert outcomes is not None
    assert outcomes["stopped"] == 1


async def test_health_is_one_object_that_its_schema_knows(tmp_path: Path) -> None:
    async with (
        Decoder() as decoder,
        NetworkServer() as server,
        running(station_file(tmp_path, station_text(decoder, server))) as service,
    ):
        await until(lambda: part(service, PartKind.UPLINK).state is State.OK)
        plain = held_to(Schema.HEALTH, json.dumps(service.health().to_object()).encode())
    assert [each["name"] for each in plain["parts"]] == [
        "vhf",
        "uplink",
        "policy",
        "alerts",
        "clock",
        "gateway",
        "pulse",
    ]


async def test_a_stop_is_quick_though_nothing_answers(tmp_path: Path) -> None:
    async with Decoder() as decoder, NetworkServer() as server:
        async with running(station_file(tmp_path, station_text(decoder, server))) as service:
            await until(lambda: part(service, PartKind.UPLINK).state is State.OK)
            server.stop_reading()
            await decoder.send(b"".join(kiss_of(b"QA1BCD-9>APRS:>%0200d" % number) for number in range(2000)))
            await until(lambda: service.health().counts.heard == 2000)
        assert service.health().counts.adds_up


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_what_the_operator_asked_for_and_an_emergency_raise_alerts_on_the_bus(tmp_path: Path) -> None:
    async with Decoder() as decoder, MosquittoBroker() as broker:
        more = (
            f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n"
            "alerts: [{name: launch-near, when: {source: QA1BCD-9, distance: {within: 5km}}}]\n"
        )
        async with (
            witness(broker, "stile/QX1GAT-10/alerts") as house,
            running(station_file(tmp_path, station_text(decoder, more=more))),
        ):
            emergency = b'QB2CDE-9>332564:`(_fn"Oj/'  # ours, after APRS101 chapter 10
            await decoder.send(kiss_of(MOORED) + kiss_of(emergency) + kiss_of(emergency))
            seen = await house.until_topic("stile/QX1GAT-10/alerts", 2)
        alerts = [held_to(Schema.ALERT, message.payload) for message in seen]
    assert [(alert["kind"], alert["name"]) for alert in alerts] == [
        ("match", "launch-near"),
        ("emergency", "emergency"),
    ]
    assert alerts[0]["heard"]["source"] == "QA1BCD-9"


async def test_a_fault_in_what_tells_the_house_keeps_no_frame_from_the_network(tmp_path: Path) -> None:
    class Faulty(Ear):
        def offer(self, frames: Sequence[HeardPayload]) -> None:
            raise RuntimeError(frames)

        def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
            raise RuntimeError(frames, sent_at_ms)

    ear = Ear()
    async with (
        Decoder() as decoder,
        NetworkServer() as server,
        running(station_file(tmp_path, station_text(decoder, server)), Faulty(), ear) as service,
    ):
        for number, line in enumerate((MOORED, AWKWARD), 1):
            await decoder.send(kiss_of(line))
            await server.until(lambda number=number: server.counts.accepted == number)  # type: ignore[misc]  # at once
        await until(lambda: len(ear.sent) == 2)
        assert len(ear.judged) == 2
        untold = part(service, PartKind.GATEWAY)
        assert untold.state is State.DEGRADED
        assert service.health().to_object()["parts"][-2]["figures"] == {
            "faults": {"judging": 0, "telling": 4, "health": 0, "memory": 0, "watching-files": 0},
            "untold": 4,
        }
