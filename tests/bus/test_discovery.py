"""What a home-automation hub is told, at a real mosquitto: it comes, changes, and goes with the operator's list."""

import json
from typing import Any

import pytest

from gateway.bus.topics import TopicGroup
from gateway.feed.health import Counts, Health
from gateway.feed.reader import ReportReader
from gateway.feed.schemas import Schema
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import Part, PartKind, State
from gateway.judge.conditions import Post as PostSettings
from gateway.watches.activity import Activity
from tests.bus.conftest import OpenBus, options_for
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import MosquittoBroker, publish, retained, witness
from tests.options import discovery_options
from tests.payload_schemas import held_to
from tests.waiting import until

pytestmark = [
    pytest.mark.needs("mosquitto", "mosquitto"),
    pytest.mark.needs("mosquitto_sub", "mosquitto-clients"),
]

EVERY = "homeassistant/#"
LISTED = ("QA1BCD-9", "QC3BCD")
READER = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))
BOAT = b"QA1BCD-9>APRS:!5836.00N/00355.00W>088/036"


def _options(broker: MosquittoBroker, *callsigns: str) -> Any:  # noqa: ANN401 - handed on as they are
    return options_for(broker.port, discovery=discovery_options(*(callsigns or LISTED)))


def _topic(device: str) -> str:
    node = options_for(1883).client_identifier
    return f"homeassistant/device/{node}/{device}/config"


def _health(post: Post) -> PlainObject:
    part = Part(PartKind.RECEIVER, "vhf", State.OK, post.moment.time_ms)
    watched = {"activity": Activity(1, 1, post.moment.time_ms).to_object()}
    return Health(post.run, post.moment.time_ms, [part], Counts(0, 0, {}), watched=watched).to_object()


async def test_the_hub_is_told_of_the_gateway_and_of_those_on_the_list_alone(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(_options(broker)) as bus:
        bus.offer_health(_health(post))
        for line in (BOAT, b"QB2BCD-7>APRS:!5836.00N/00355.00W>", b"QA1BCD-9>APRS:>under way"):
            offer(bus, post.hear(line), READER)
        await until(lambda: bus.tally[TopicGroup.HEARD].published == 3)
        await until(lambda: not any(bus.waiting().values()))
        held = await retained(broker)
        told = {topic: json.loads(payload) for topic, payload in held.items() if topic.startswith("homeassistant/")}
        assert set(told) == {_topic("gateway"), _topic("QA1BCD-9"), _topic("QC3BCD")}
        assert set(told[_topic("QA1BCD-9")]["components"]) >= {"tracker", "distance_km", "speed_kmh"}
        assert set(told[_topic("QC3BCD")]["components"]) == {"tracker", "last_heard"}
        station = held_to(Schema.STATION, held["stile/QX1GAT-10/stations/QA1BCD-9"])
        assert station["information"] == ">under way"
        assert station["memory"]["position"]["latitude"] == 58.6
        held_to(Schema.HEALTH, held["stile/QX1GAT-10/health"])


async def test_every_topic_that_the_hub_is_told_to_read_is_one_that_we_write(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(_options(broker, "QA1BCD-9")) as bus:
        bus.offer_health(_health(post))
        offer(bus, post.hear(BOAT), READER)
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
        await until(lambda: not any(bus.waiting().values()))
        held = await retained(broker)
        for device in ("gateway", "QA1BCD-9"):
            for component in json.loads(held[_topic(device)])["components"].values():
                read = [component.get("state_topic"), component.get("json_attributes_topic")]
                read += [entry["topic"] for entry in component.get("availability", [])]
                assert {topic for topic in read if topic} <= set(held) | {"stile/QX1GAT-10/alerts"}


async def test_who_is_taken_from_the_list_is_gone_from_the_hub_after_the_restart(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(_options(broker)) as bus:
        bus.offer_health(_health(post))
        await until(lambda: bus.tally[TopicGroup.DISCOVERY].published == 3)
        await bus.drain(10)
    async with witness(broker, EVERY) as watching, open_bus(_options(broker, "QA1BCD-9")) as bus:
        bus.offer_health(_health(post))
        await watching.until(lambda seen: any(m.topic == _topic("QC3BCD") and not m.payload for m in seen))
        await until(lambda: not any(bus.waiting().values()))
        # The hub, which is there all the while, hears of nothing else: the rest is as it was.
        assert [m.topic for m in watching.seen if not m.retained] == [_topic("QC3BCD")]
    assert set(await retained(broker, EVERY)) == {_topic("gateway"), _topic("QA1BCD-9")}


async def test_strays_of_ours_are_cleared_and_other_peoples_devices_left_alone(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    others = ("homeassistant/device/kettle/config", "homeassistant/device/other-gateway/QA1BCD-9/config")
    for topic in (*others, _topic("QZ9BCD")):
        await publish(broker, topic, b'{"components": {}}', retain=True)
    async with open_bus(_options(broker, "QA1BCD-9")) as bus:
        bus.offer_health(_health(post))
        await until(lambda: bus.tally[TopicGroup.DISCOVERY].published == 3)
        assert set(await retained(broker, EVERY)) == {*others, _topic("gateway"), _topic("QA1BCD-9")}


async def test_a_hub_that_comes_is_told_everything_anew(broker: MosquittoBroker, post: Post, open_bus: OpenBus) -> None:
    async with witness(broker, EVERY) as watching, open_bus(_options(broker)) as bus:
        bus.offer_health(_health(post))
        await watching.until_topic(_topic("QC3BCD"))
        await until(lambda: not any(bus.waiting().values()))
        await publish(broker, "homeassistant/status", b"online")
        for device in ("gateway", *LISTED):
            first, again = await watching.until_topic(_topic(device), 2)
            assert first.payload == again.payload


async def test_a_broker_that_was_restarted_is_told_again(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with open_bus(_options(broker)) as bus:
        bus.offer_health(_health(post))
        await until(lambda: bus.tally[TopicGroup.DISCOVERY].published == 3)
        await broker.kill()
        await until(lambda: not bus.connected)
        await broker.start()
        await until(lambda: bus.tally[TopicGroup.DISCOVERY].published == 6)
        assert set(await retained(broker, EVERY)) == {_topic("gateway"), *map(_topic, LISTED)}


async def test_without_the_section_no_hub_is_told_anything(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    async with witness(broker, EVERY) as watching, open_bus(options_for(broker.port)) as bus:
        bus.offer_health(_health(post))
        offer(bus, post.hear(BOAT), READER)
        await publish(broker, "homeassistant/status", b"online")
        await until(lambda: bus.tally[TopicGroup.STATIONS].published == 1)
        await until(lambda: not any(bus.waiting().values()))
        assert {message.topic for message in watching.seen} <= {"homeassistant/status"}


async def test_the_names_that_a_listed_station_gives_cannot_break_the_message(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    hostile = b'{{ x }},{% y %},../../config,"}],<script>,\xff\xfe,/+/#,,'
    async with open_bus(_options(broker)) as bus:
        bus.offer_health(_health(post))
        for line in (b"QC3BCD>APRS::QC3BCD   :PARM." + hostile, b"QC3BCD>APRS:T#005,1,2,3,4,5,11111111"):
            judged = post.hear(line)
            READER.telemetry.hear(judged)
            offer(bus, judged, READER)
        await until(lambda: bus.tally[TopicGroup.STATIONS].published > 0)
        await until(lambda: not any(bus.waiting().values()))
        held = await retained(broker, EVERY)
        assert set(held) == {_topic("gateway"), *map(_topic, LISTED)}
        components = json.loads(held[_topic("QC3BCD")])["components"]
        names = [component["name"] for key, component in components.items() if key.startswith(("telemetry_", "bit_"))]
        assert names
        assert not set("".join(names)) & set("{}%<>\"'#\\")
