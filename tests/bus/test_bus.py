"""The bus at a real mosquitto, with `mosquitto_sub` as the witness of what is there."""

import asyncio
import json
from dataclasses import replace
from pathlib import Path

import aiomqtt
import pytest
from structlog.testing import capture_logs

from gateway.alerts.alert import emergency_alert
from gateway.bus.bus import Bus
from gateway.bus.options import QueueLimits
from gateway.bus.topics import TopicGroup
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import heard_object
from gateway.feed.schemas import Schema
from gateway.feed.stations import Stations
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import Part, PartKind, State
from gateway.judge.verdict import Judged, Reason
from gateway.reports import read, to_object
from tests.bus.conftest import QUICK, OpenBus, options_for
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import Login, MosquittoBroker, Seen, publish, retained, witness
from tests.payload_schemas import held_to, validator
from tests.waiting import until

pytestmark = [
    pytest.mark.needs("mosquitto", "mosquitto"),
    pytest.mark.needs("mosquitto_sub", "mosquitto-clients"),
]

ROOT = "stile/QX1GAT-10"
BOAT = b"QA1BCD-9>APRS,QD1RPT*,WIDE2-1:!5836.00N/00355.00W>088/036"
UP = b"QA1BCD-9>APRS,QD1RPT*,WIDE2-1,qAO,QX1GAT-10:!5836.00N/00355.00W>088/036\r\n"


def _health(post: Post) -> PlainObject:
    part = Part(PartKind.RECEIVER, "vhf", State.OK, post.moment.time_ms)
    return Health(post.run, post.moment.time_ms, [part], Counts(0, 0, {})).to_object()


def _report(judged: Judged) -> PlainObject | None:
    frame = judged.innermost
    return None if frame is None else to_object(read(frame.destination, frame.information))


def _of(seen: list[Seen], topic: str) -> list[Seen]:
    return [message for message in seen if message.topic == f"{ROOT}/{topic}"]


def _hold_to_schemas(seen: list[Seen]) -> None:
    """Every payload but those of `lines`, which is text from the air."""
    schemas = {"heard": Schema.HEARD, "forwarded": Schema.FORWARDED, "alerts": Schema.ALERT, "health": Schema.HEALTH}
    for message in seen:
        group, _, name = message.topic.removeprefix(f"{ROOT}/").partition("/")
        if group == "status":
            validator(Schema.STATUS).validate(message.payload.decode("utf-8"))
        elif group == "stations" and message.payload:
            assert held_to(Schema.STATION, message.payload)["source"] == name
        elif group in schemas:
            held_to(schemas[group], message.payload)
        else:
            assert group in {"lines", "stations"}


async def test_all_that_is_offered_is_seen_by_an_independent_client_and_keeps_to_the_schemas(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with witness(broker) as watching, open_bus(options_for(broker.port)) as bus:
        boat = post.hear(BOAT)
        mic_e = post.hear(
            b'QB2BCD-7>S32UVT,QD1RPT*:`(_fn"Oj/', reason=Reason.DUPLICATE
        )  # ours, after APRS101 chapter 10
        relayed = post.hear(b"QD2GAT>APZ001:}QC3BCD>APRS,TCPIP,QD2GAT*:>x", reason=Reason.THIRD_PARTY_INTERNET)
        bytes_above = post.hear(b"QA2BCD>APRS:>\xff\xfe temperature 3\xb0", port=2)
        payload = offer(bus, boat, _report, UP)
        for judged in (mic_e, relayed, bytes_above, post.hear(b"no frame")):
            offer(bus, judged, _report)
        bus.offer_forwarded([payload], post.moment.time_ms)
        bus.offer_health(_health(post))
        bus.offer_alert(emergency_alert(boat, heard_object(boat, _report(boat))))
        seen = await watching.until(lambda seen: len(seen) >= 1 + 5 + 4 + 1 + 4 + 1 + 1)
        _hold_to_schemas(seen)
        assert [json.loads(message.payload) for message in _of(seen, "heard")] == [
            heard_object(judged, _report(judged)) for judged in (boat, mic_e, relayed, bytes_above)
        ] + [json.loads(_of(seen, "heard")[-1].payload)]
        assert _of(seen, "lines")[0].payload == BOAT
        assert _of(seen, "lines")[3].payload == b"QA2BCD>APRS:>\xff\xfe temperature 3\xb0"
        assert json.loads(_of(seen, "forwarded")[0].payload)["line"].encode() + b"\r\n" == UP
        assert {message.topic.rpartition("/")[2] for message in seen if "/stations/" in message.topic} == {
            "QA1BCD-9",
            "QB2BCD-7",
            "QC3BCD",
            "QA2BCD",
        }


async def test_each_topic_has_the_quality_and_the_retention_that_it_should(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with witness(broker) as watching, open_bus(options_for(broker.port)) as bus:
        boat = post.hear(BOAT)
        offer(bus, boat)
        bus.offer_health(_health(post))
        bus.offer_alert(emergency_alert(boat, heard_object(boat)))
        seen = await watching.until(lambda seen: len(seen) >= 6)
        quality = {message.topic.removeprefix(f"{ROOT}/"): message.quality for message in seen}
        assert quality == {"status": 1, "heard": 0, "lines": 0, "stations/QA1BCD-9": 0, "health": 0, "alerts": 1}
        assert set(await retained(broker)) == {f"{ROOT}/{name}" for name in ("status", "health", "stations/QA1BCD-9")}


async def test_a_bus_that_is_drained_publishes_what_waits_and_says_offline(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with witness(broker) as watching, open_bus(options_for(broker.port)) as bus:
        await watching.until_topic(f"{ROOT}/status")
        for _ in range(500):
            offer(bus, post.hear(BOAT))
        await bus.drain(10)
        assert not bus.connected
        seen = await watching.until_topic(f"{ROOT}/status", 2)
        assert [message.payload for message in seen] == [b"online", b"offline"]
        assert len(_of(watching.seen, "heard")) == 500
        assert not any(tally.shed for tally in bus.tally.values())
    assert (await retained(broker))[f"{ROOT}/status"] == b"offline"


async def test_a_bus_that_ends_without_a_word_leaves_its_will(broker: MosquittoBroker, open_bus: OpenBus) -> None:
    async with witness(broker) as watching:
        async with open_bus(options_for(broker.port)):
            await watching.until_topic(f"{ROOT}/status")
        seen = await watching.until_topic(f"{ROOT}/status", 2)
        assert [message.payload for message in seen] == [b"online", b"offline"]
    assert (await retained(broker))[f"{ROOT}/status"] == b"offline"


async def test_a_broker_that_was_restarted_holds_everything_retained_again(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(options_for(broker.port)) as bus:
        bus.offer_health(_health(post))
        offer(bus, post.hear(BOAT))
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
        await broker.kill()
        await until(lambda: not bus.connected)
        offer(bus, post.hear(b"QA2BCD>APRS:>while it was away"))
        async with asyncio.timeout(20):
            await broker.start()
            await until(lambda: bus.tally[TopicGroup.STATIONS].published == 3)
        held = await retained(broker)
        assert set(held) == {f"{ROOT}/{name}" for name in ("status", "health", "stations/QA1BCD-9", "stations/QA2BCD")}
        assert held[f"{ROOT}/status"] == b"online"
        assert json.loads(held[f"{ROOT}/stations/QA2BCD"])["information"] == ">while it was away"


async def test_what_was_heard_while_the_broker_was_away_comes_after_it_as_far_as_the_queue_reaches(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    await broker.stop()
    async with open_bus(options_for(broker.port, limits=QueueLimits(heard=10, lines=5))) as bus:
        await until(lambda: "refused" in bus.part().why)
        for _ in range(25):
            offer(bus, post.hear(BOAT))
        await broker.start()
        async with witness(broker) as watching:
            await until(lambda: bus.tally[TopicGroup.HEARD].published == 10)
            offer(bus, post.hear(BOAT))
            await watching.until_topic(f"{ROOT}/heard")
        tally = bus.tally
        assert (tally[TopicGroup.HEARD].shed, tally[TopicGroup.LINES].shed) == (15, 20)
        assert tally[TopicGroup.HEARD].offered == 26 == tally[TopicGroup.HEARD].published + tally[TopicGroup.HEARD].shed


async def test_stray_station_topics_are_cleared_and_those_that_are_right_are_left_alone(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    for stray in ("QZ9BCD", "not a callsign", "QA1BCD-9"):
        await publish(broker, f"{ROOT}/stations/{stray}", b"from another time", retain=True)
    async with open_bus(options_for(broker.port)) as bus:
        offer(bus, post.hear(BOAT))
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 3)
        assert set(await retained(broker, f"{ROOT}/stations/+")) == {f"{ROOT}/stations/QA1BCD-9"}
        async with witness(broker) as watching:
            # Another client under the same name: the broker ends our connection, and we come back.
            async with aiomqtt.Client("127.0.0.1", broker.port, identifier=options_for(broker.port).client_identifier):
                await watching.until(
                    lambda seen: [m.payload for m in _of(seen, "status") if not m.retained] == [b"offline", b"online"]
                )
            offer(bus, post.hear(b"QA2BCD>APRS:>afterwards"))
            await watching.until_topic(f"{ROOT}/stations/QA2BCD")
            assert [message.retained for message in _of(watching.seen, "stations/QA1BCD-9")] == [True]


async def test_the_will_of_a_connection_long_gone_does_not_hide_the_new_one(
    broker: MosquittoBroker, open_bus: OpenBus
) -> None:
    will = aiomqtt.Will(f"{ROOT}/status", b"offline", qos=1, retain=True)
    identifier = options_for(broker.port).client_identifier
    old = aiomqtt.Client("127.0.0.1", broker.port, identifier=identifier, will=will)
    await old.__aenter__()
    async with witness(broker) as watching, open_bus(options_for(broker.port)):
        await watching.until_topic(f"{ROOT}/status", 2)
        assert (await retained(broker))[f"{ROOT}/status"] == b"online"
        with pytest.raises(aiomqtt.MqttError):
            await anext(aiter(old.messages))


async def test_offline_from_somebody_else_is_put_right_at_once(broker: MosquittoBroker, open_bus: OpenBus) -> None:
    async with witness(broker) as watching, open_bus(options_for(broker.port)):
        await watching.until_topic(f"{ROOT}/status")
        await publish(broker, f"{ROOT}/status", b"offline", retain=True)
        seen = await watching.until_topic(f"{ROOT}/status", 3)
        assert [message.payload for message in seen] == [b"online", b"offline", b"online"]


async def test_a_broker_that_stalls_holds_up_nobody_and_hears_the_newest_when_it_goes_on(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    options = options_for(broker.port, limits=QueueLimits(heard=50, lines=50), pace=replace(QUICK, connect=0.3))
    async with open_bus(options) as bus:
        await until(lambda: bus.connected)
        broker.pause()
        while bus.connected:  # until the keep-alive tells; with more than the sockets' buffers can hold
            for _ in range(200):
                offer(bus, post.hear(BOAT))
            await asyncio.sleep(0)
        assert bus.tally[TopicGroup.HEARD].shed > 0
        trouble = bus.trouble
        assert trouble is not None
        last = post.hear(b"QA9BCD>APRS:>the newest")
        offer(bus, last)
        broker.resume()
        await until(lambda: bus.connected and not any(bus.waiting().values()))
        held = await retained(broker)
        assert held[f"{ROOT}/status"] == b"online"
        assert json.loads(held[f"{ROOT}/stations/QA9BCD"])["sequence"] == last.heard.sequence
        tally = bus.tally[TopicGroup.HEARD]
        assert tally.offered == tally.published + tally.shed + tally.lost


async def test_a_bus_at_a_stalled_broker_still_stops_within_its_time(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(options_for(broker.port, pace=replace(QUICK, keep_alive=60))) as bus:
        await until(lambda: bus.connected)
        broker.pause()
        bus.offer_alert(emergency_alert(post.hear(BOAT), {}))
        async with asyncio.timeout(10):  # a fail-safe: without the drain's own limit it would be a minute
            await bus.drain(0.2)
        assert bus.tally[TopicGroup.ALERTS].shed == 1
        broker.resume()


async def test_an_alert_waits_for_a_broker_that_is_away(broker: MosquittoBroker, post: Post, open_bus: OpenBus) -> None:
    await broker.stop()
    async with open_bus(options_for(broker.port)) as bus:
        bus.offer_alert(emergency_alert(post.hear(BOAT), heard_object(post.hear(BOAT))))
        await broker.start()
        await until(lambda: bus.tally[TopicGroup.ALERTS].published == 1)


async def test_the_bus_logs_in_with_username_and_password(post: Post, open_bus: OpenBus) -> None:
    login = Login("stile", "open sesame")
    async with MosquittoBroker(login) as broker, witness(broker) as watching:
        options = options_for(broker.port, username=login.username, password=login.password)
        async with open_bus(options) as bus:
            offer(bus, post.hear(BOAT))
            await watching.until_topic(f"{ROOT}/heard")
            assert bus.protocol == "5"


async def test_a_wrong_password_is_told_in_words_and_shows_nowhere(
    open_bus: OpenBus, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    with capture_logs() as logs:
        async with MosquittoBroker(Login("stile", "open sesame")) as broker:
            options = options_for(broker.port, username="stile", password="swordfish")
            async with open_bus(options) as bus:
                await until(lambda: "password" in bus.part().why)
                part = bus.part()
    assert (part.state, part.why) == (State.DOWN, "the broker does not let this user in: wrong username or password")
    assert "swordfish" not in f"{logs} {caplog.text} {part}"
    assert "password_file" in part.do


async def test_no_payload_reaches_the_log(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(0)
    with capture_logs() as logs:
        async with witness(broker) as watching, open_bus(options_for(broker.port)) as bus:
            offer(bus, post.hear(b"QA1BCD-9>APRS:>private matter"))
            await watching.until_topic(f"{ROOT}/heard")
            await bus.drain(5)
    assert "QA1BCD-9" not in f"{logs} {caplog.text}"
    assert [entry["event"] for entry in logs] == ["bus connected", "bus stopped"]


async def test_a_broker_that_lets_us_read_nothing_still_gets_everything(
    tmp_path: Path, post: Post, open_bus: OpenBus
) -> None:
    rights = tmp_path / "rights"
    rights.write_text(f"topic write {ROOT}/#\n")
    broker = MosquittoBroker(settings=[f"acl_file {rights}"])
    with capture_logs() as logs:
        async with broker, open_bus(options_for(broker.port, pace=replace(QUICK, learn=0.05))) as bus:
            offer(bus, post.hear(BOAT))
            await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
    assert "allow the bus user to read its own topics" in [entry.get("do") for entry in logs]


async def test_what_was_shed_is_said_when_the_bus_tidies_and_once(broker: MosquittoBroker, post: Post) -> None:
    bus = Bus(options_for(broker.port, limits=QueueLimits(heard=1, lines=2)), post.now, stations=Stations())
    for _ in range(3):
        offer(bus, post.hear(BOAT))
    with capture_logs() as logs:
        bus.tidy()
        bus.tidy()
    assert [(entry["event"], entry["heard"], entry["lines"]) for entry in logs] == [
        ("bus sheds what the broker does not take", 2, 1)
    ]


async def test_a_station_that_is_forgotten_leaves_the_broker(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    topic = f"{ROOT}/stations/QA1BCD-9"
    async with witness(broker, topic) as watching, open_bus(options_for(broker.port)) as bus:
        offer(bus, post.hear(BOAT))
        await watching.until_topic(topic)
        bus.stations.forget(86_400_000)
        seen = await watching.until_topic(topic, 2)
        assert seen[1].payload == b""
    assert topic not in await retained(broker)
