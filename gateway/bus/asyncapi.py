"""The feed on the bus as an AsyncAPI 3.0 document, made from what the bus itself goes by: its topics and the schemas.

`python -m gateway.bus.asyncapi > gateway/bus/asyncapi.json` writes it anew; a test says when that is due.
"""

import json
import sys
from dataclasses import dataclass
from typing import Any

from gateway import __version__
from gateway.bus.discovery import Announcer
from gateway.bus.discovery_topics import DiscoveryTopics
from gateway.bus.options import STATIONS_FORGET_MS, DiscoveryOptions
from gateway.bus.outbox import QUALITY, RETAINED
from gateway.bus.topics import TopicGroup, Topics
from gateway.feed.schemas import Schema, bundled

DIALECT = "application/schema+json;version=draft-2020-12"
BINDING = {"bindingVersion": "0.2.0"}
"""Version of the MQTT bindings for AsyncAPI."""

JSON = "application/json"
TEXT = "text/plain"

# Levels that differ from gateway to gateway, as they stand in the sample topics below; what each is called, and is.
_TOPICS = Topics("BASE", "CALLSIGN")
_HUB = DiscoveryTopics(DiscoveryOptions("PREFIX", ()), Announcer("NODE", "CALLSIGN", _TOPICS.prefix))
_PARAMETERS = {
    "BASE": ("base", {"description": "`bus: {base: …}` of the station file; may have levels.", "default": "stile"}),
    "CALLSIGN": ("callsign", {"description": "The gateway's own."}),
    "SOURCE": ("source", {"description": "The callsign of the station that it is about."}),
    "PREFIX": ("prefix", {"description": "`bus: {discovery: {prefix: …}}`.", "default": "homeassistant"}),
    "NODE": ("node", {"description": "Names the gateway among all that tell the same hub of themselves."}),
    "+": ("device", {"description": "`gateway`, or the callsign of a listed station."}),
}

_DISCOVERY = {
    "description": "A device discovery payload, as Home Assistant documents it for MQTT.",
    "type": "object",
    "required": ["device", "origin", "components"],
    "properties": {name: {"type": "object"} for name in ("device", "origin", "components")},
}
_LINE = {"description": "TNC-2 monitor text. Octets as they were heard: not always UTF-8.", "type": "string"}
_HUB_STATUS = {"enum": ["online", "offline"]}


@dataclass(frozen=True, slots=True)
class _TopicChannel:
    """One kind of topic, and what is on it."""

    topic: str
    """Of the sample."""

    summary: str
    payload: dict[str, Any]
    quality: int
    retain: bool
    content_type: str = JSON
    action: str = "send"
    """What the gateway does."""

    def address(self) -> str:
        """The topic, with what differs in braces."""
        return "/".join(f"{{{_PARAMETERS[level][0]}}}" if level in _PARAMETERS else level for level in self._levels())

    def parameters(self) -> list[str]:
        """The names in the address."""
        return [_PARAMETERS[level][0] for level in self._levels() if level in _PARAMETERS]

    def _levels(self) -> list[str]:
        return self.topic.split("/")


def _of_group(
    group: TopicGroup, summary: str, payload: dict[str, Any], content_type: str = JSON, topic: str | None = None
) -> _TopicChannel:
    return _TopicChannel(topic or _TOPICS.of(group), summary, payload, QUALITY[group], group in RETAINED, content_type)


def _channels() -> dict[str, _TopicChannel]:
    return {
        "heard": _of_group(
            TopicGroup.HEARD, "Every frame heard, its verdict, and what it reports.", _shared(Schema.HEARD)
        ),
        "forwarded": _of_group(
            TopicGroup.FORWARDED, "Every frame that was sent to the network.", _shared(Schema.FORWARDED)
        ),
        "lines": _of_group(TopicGroup.LINES, "Every frame heard, as monitor text.", _own(_LINE), TEXT),
        "station": _of_group(
            TopicGroup.STATIONS,
            "The last frame of one station, and what is remembered of it. Empty once it is forgotten.",
            _shared(Schema.STATION),
            topic=_TOPICS.station("SOURCE"),
        ),
        "alert": _of_group(
            TopicGroup.ALERTS,
            "What the operator wants to be told of at once. Not a distress watch: nothing promises that it arrives.",
            _shared(Schema.ALERT),
        ),
        "health": _of_group(
            TopicGroup.HEALTH, "How every part is, and what became of every frame.", _shared(Schema.HEALTH)
        ),
        "status": _TopicChannel(
            _TOPICS.status,
            "Whether the gateway is there. Its last will, too.",
            _shared(Schema.STATUS),
            quality=1,
            retain=True,
            content_type=TEXT,
        ),
        "discovery": _of_group(
            TopicGroup.DISCOVERY,
            "What a home-automation hub is told of one device. Empty once it is gone.",
            _own(_DISCOVERY),
            topic=_HUB.filter,
        ),
        "hub": _TopicChannel(
            _HUB.hub_status,
            "Whether the home-automation hub is there: once it comes, it is told everything anew.",
            _own(_HUB_STATUS),
            quality=1,
            retain=False,
            content_type=TEXT,
            action="receive",
        ),
    }


def document() -> dict[str, Any]:
    """The document. What differs from gateway to gateway is a parameter."""
    channels = _channels()
    return {
        "asyncapi": "3.0.0",
        "info": {
            "title": "Stile",
            "version": __version__,
            "description": "What a listening post hears, on the MQTT broker in the house. Text from the air may say"
            " anything: put it into a page as text and nothing else.",
            "license": {"name": "MIT"},
        },
        "defaultContentType": JSON,
        "servers": {"house": _server()},
        "channels": {name: _as_channel(name, channel) for name, channel in channels.items()},
        "operations": {name: _as_operation(name, channel) for name, channel in channels.items()},
        "components": {
            "messages": {name: _as_message(name, channel) for name, channel in channels.items()},
            "parameters": dict(_PARAMETERS.values()),
            "schemas": {
                name: {"schemaFormat": DIALECT, "schema": schema}
                for name, schema in bundled("/components/schemas/{}/schema").items()
            },
        },
    }


def text() -> str:
    """The file's text."""
    return json.dumps(document(), indent=1, ensure_ascii=False) + "\n"


def _server() -> dict[str, Any]:
    will = {"topic": "{base}/{callsign}/status", "qos": 1, "message": "offline", "retain": True}
    return {
        "host": "127.0.0.1:1883",
        "protocol": "mqtt",
        "protocolVersion": "5",
        "description": "The broker in the house, at `bus: {broker: …}` of the station file. 3.1.1 where it is older.",
        "bindings": {"mqtt": {"cleanSession": True, "lastWill": will, **BINDING}},
    }


def _as_channel(name: str, channel: _TopicChannel) -> dict[str, Any]:
    return {
        "address": channel.address(),
        "summary": channel.summary,
        "messages": {name: _reference("components", "messages", name)},
        "parameters": {name: _reference("components", "parameters", name) for name in channel.parameters()},
    }


def _as_operation(name: str, channel: _TopicChannel) -> dict[str, Any]:
    binding = {"qos": channel.quality, "retain": channel.retain, **BINDING}
    if name == "station":
        binding["messageExpiryInterval"] = STATIONS_FORGET_MS // 1000
    return {
        "action": channel.action,
        "channel": _reference("channels", name),
        "messages": [_reference("channels", name, "messages", name)],
        "bindings": {"mqtt": binding},
    }


def _as_message(name: str, channel: _TopicChannel) -> dict[str, Any]:
    return {
        "name": name,
        "summary": channel.summary,
        "contentType": channel.content_type,
        "payload": channel.payload,
    }


def _shared(schema: Schema) -> dict[str, Any]:
    return _reference("components", "schemas", schema)


def _own(schema: dict[str, Any]) -> dict[str, Any]:
    return {"schemaFormat": DIALECT, "schema": schema}


def _reference(*place: str) -> dict[str, str]:
    return {"$ref": "#/" + "/".join(place)}


if __name__ == "__main__":
    sys.stdout.write(text())
