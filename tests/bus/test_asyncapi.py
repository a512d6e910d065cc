"""The document of the feed: as AsyncAPI 3.0 has it, current, and true of whatever the bus publishes."""

import json
import re
import warnings
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from referencing import Registry
from referencing.jsonschema import DRAFT202012

from gateway.alerts.alert import emergency_alert
from gateway.bus.asyncapi import DIALECT, FILE, document, text
from gateway.bus.connection import OFFLINE
from gateway.bus.options import STATIONS_FORGET_MS
from gateway.bus.topics import TopicGroup
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload, heard_object
from gateway.feed.reader import ReportReader
from gateway.groundwork.part import Part, PartKind, State
from gateway.judge.conditions import Post as PostSettings
from gateway.judge.verdict import Reason
from tests.bus.conftest import OpenBus, options_for
from tests.judged_frames import Post, offer
from tests.mosquitto_broker import MosquittoBroker, Seen, publish, retained, witness
from tests.options import discovery_options
from tests.waiting import until

DOCUMENT = document()
REGISTRY: Registry[Any] = Registry().with_resource("urn:feed", DRAFT202012.create_resource(DOCUMENT))
ADDRESSES = {
    name: re.compile(
        re.sub(r"\\\{(\w+)\\\}", lambda level: ".+" if level[1] == "base" else "[^/]+", re.escape(channel["address"]))
    )
    for name, channel in DOCUMENT["channels"].items()
}


def resolve(reference: str) -> Any:  # noqa: ANN401 - any part of JSON
    part = DOCUMENT
    assert reference.startswith("#/")
    for key in reference.removeprefix("#/").split("/"):
        part = part[key]
    return part


def references(part: object) -> list[str]:
    if isinstance(part, list):
        return [reference for one in part for reference in references(one)]
    if not isinstance(part, dict):
        return []
    found = [reference for one in part.values() for reference in references(one)]
    return [*found, part["$ref"]] if isinstance(part.get("$ref"), str) else found


def payload_validator(name: str) -> Draft202012Validator:
    payload = DOCUMENT["components"]["messages"][name]["payload"]
    own = payload if "schema" in payload else resolve(payload["$ref"])
    assert own["schemaFormat"] == DIALECT
    place = f"#/components/messages/{name}/payload" if own is payload else payload["$ref"]
    return Draft202012Validator({"$ref": f"urn:feed{place}/schema"}, registry=REGISTRY)


def channel_of(topic: str) -> str:
    """The one channel that a topic is of."""
    names: list[str] = [name for name, address in ADDRESSES.items() if address.fullmatch(topic)]
    assert len(names) == 1, topic
    return names[0]


def test_the_file_has_this_version_and_these_schemas() -> None:
    assert FILE.read_text("utf-8") == text(), "write it anew: python -m gateway.bus.asyncapi"


def test_what_the_broker_keeps_for_how_long_and_says_last_is_what_the_bus_asks_for() -> None:
    operations = {name: operation["bindings"]["mqtt"] for name, operation in DOCUMENT["operations"].items()}
    seconds = {
        name: mqtt["messageExpiryInterval"] for name, mqtt in operations.items() if "messageExpiryInterval" in mqtt
    }
    assert seconds == {"station": STATIONS_FORGET_MS // 1000}
    assert DOCUMENT["servers"]["house"]["bindings"]["mqtt"]["lastWill"] == {
        "topic": DOCUMENT["channels"]["status"]["address"], "qos": 1, "message": OFFLINE.decode(), "retain": True,
    }  # fmt: skip


def test_the_document_is_as_asyncapi_3_has_it() -> None:
    """Judged by the library asyncapi3; `tests.bench --only asyncapi_tools` asks the specification's own parser, too."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # its models shadow names of their parents
        from asyncapi3.models.asyncapi import (  # type: ignore[import-untyped] # noqa: PLC0415 - untyped; see above
            AsyncAPI3,
        )

        AsyncAPI3.model_validate(DOCUMENT)
        with pytest.raises(ValueError, match="colour"):
            AsyncAPI3.model_validate({**DOCUMENT, "colour": "red"})


def test_every_reference_leads_somewhere() -> None:
    assert len(references(DOCUMENT)) > 100
    for reference in references(DOCUMENT):
        assert resolve(reference) is not None, reference


def test_every_schema_in_it_is_one() -> None:
    for schema in DOCUMENT["components"]["schemas"].values():
        Draft202012Validator.check_schema(schema["schema"])


def test_parameters_are_those_of_the_address() -> None:
    for channel in DOCUMENT["channels"].values():
        assert re.findall(r"\{(\w+)\}", channel["address"]) == list(channel["parameters"])


def test_there_is_a_channel_for_every_group_of_topics_and_one_for_each_status() -> None:
    assert len(DOCUMENT["channels"]) == len(DOCUMENT["operations"]) == len(TopicGroup) + 2


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_all_that_the_bus_publishes_is_in_it_as_it_says(
    broker: MosquittoBroker, post: Post, open_bus: OpenBus
) -> None:
    options = options_for(broker.port, base="house/radio", discovery=discovery_options("QA1BCD-9"))
    reader = ReportReader(PostSettings("QX1GAT-10", 58.6, -3.9167))
    part = Part(PartKind.RECEIVER, "vhf", State.OK, post.moment.time_ms)
    async with witness(broker, "#") as watching, open_bus(options) as bus:
        bus.offer_health(Health(post.run, post.moment.time_ms, [part], Counts(0, 0, {})).to_object())
        line = b"QA1BCD-9>APRS,QD1RPT*,qAO,QX1GAT-10:!5836.00N\r\n"
        boat = offer(bus, post.hear(b"QA1BCD-9>APRS,QD1RPT*:!5836.00N/00355.00W>088/036"), reader, line)
        offer(bus, post.hear(b"QB2BCD-7>APRS:>\xff", reason=Reason.RULE, rule="bench"), reader)
        offer(bus, post.hear(b"no frame"), reader)
        bus.offer_forwarded([boat], post.moment.time_ms)
        bus.offer_alert(emergency_alert(boat.judged, heard_object(boat.judged, reader(boat.judged)), repeated=False))
        await publish(broker, "homeassistant/status", b"online")
        await until(lambda: bus.tally[TopicGroup.DISCOVERY].published >= 2)
        await until(lambda: not any(bus.waiting().values()))
        held = set(await retained(broker, "#"))
        seen = [message for message in watching.seen if message.topic != "end-of-retained"]
    assert {channel_of(message.topic) for message in seen} == set(DOCUMENT["channels"])
    for message in seen:
        _hold(message, is_held=message.topic in held)


def _hold(message: Seen, *, is_held: bool) -> None:
    name = channel_of(message.topic)
    binding = DOCUMENT["operations"][name]["bindings"]["mqtt"]
    if name != "hub":
        assert (message.quality, is_held) == (binding["qos"], binding["retain"]), name
    is_json = DOCUMENT["components"]["messages"][name]["contentType"] == "application/json"
    plain = json.loads(message.payload) if is_json else message.payload.decode("utf-8", "replace")
    payload_validator(name).validate(plain)


def test_a_payload_that_breaks_its_schema_is_noticed() -> None:
    plain = heard_object(Post().hear(b"QA1BCD-9>APRS:>x"))
    assert payload_validator("heard").is_valid(plain)
    assert not payload_validator("heard").is_valid({**plain, "colour": "red"})
    assert not payload_validator("station").is_valid(plain)
    assert not payload_validator("discovery").is_valid({"device": {}})
    assert not payload_validator("hub").is_valid("away")


def test_a_station_object_of_a_followed_station_keeps_to_it() -> None:
    post = Post()
    payload = HeardPayload(post.hear(b"QA1BCD-9>APRS:>x"))
    memory = {"frames": 1, "first_heard": "2026-06-06T12:00:00.000Z", "heard_direct": False}
    position = {"time": "2026-06-06T12:00:00.000Z", "latitude": 1, "longitude": 2}
    plain = json.loads(payload.encoded_with({"memory": {**memory, "position": position}}))
    assert payload_validator("station").is_valid(plain)
    assert not payload_validator("station").is_valid({**plain, "memory": {**memory, "position": {"latitude": 1}}})
