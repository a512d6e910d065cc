"""What a home-automation hub is told so that it sets itself up: a message for the gateway, and one per listed station.

The convention is the device-based MQTT discovery that Home Assistant documents (on its page "MQTT", under "MQTT
Discovery"). One message names all entities of a device, so that a device comes, changes and goes as a whole; with a
message for each entity it would be some thirty retained topics for the same.

The entities read the topics that are there anyway: `status`, `health` and `stations/<source>`. No text from the air
stands in a template or a topic; of what the air says, only the names of telemetry channels come in, made safe, and
only those of stations that the operator lists. No I/O, no clock.
"""

import json
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from gateway import __version__
from gateway.bus import measures
from gateway.bus.measures import Measure
from gateway.bus.repertoire import BIT_PREFIX, NUMBER_PREFIX, Repertoire
from gateway.feed.latest import Channel
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import State

PROGRAM = "Stile"
GATEWAY = "gateway"
"""What stands in the place of a callsign for the gateway itself; callsigns are in capital letters."""

LARGEST_MESSAGE = 65_536
"""Octets: what is found at the broker and is larger is none of ours."""

MOST_COMPONENTS = 100

_PLATFORMS = frozenset({"sensor", "binary_sensor", "device_tracker", "event"})
_KEY = re.compile(r"[a-z0-9_-]{1,80}")

_DIAGNOSTIC = {"entity_category": "diagnostic"}
_COUNTER = {"platform": "sensor", "state_class": "total_increasing", **_DIAGNOSTIC}
_TIMESTAMP = {"platform": "sensor", "device_class": "timestamp", **_DIAGNOSTIC}
_STATE = {"platform": "sensor", "device_class": "enum", "options": [state.value for state in State], **_DIAGNOSTIC}

_ALERT: PlainObject = {
    "platform": "event",
    "name": "Alert",
    "event_types": ["emergency", "match", "silent", "deaf"],
    "value_template": (
        "{% if value_json is defined %}{{ dict(event_type=value_json.get('kind'), entry=value_json.get('name'),"
        " what=value_json.get('what'), raised=value_json.get('time'), repeated=value_json.get('repeated', false),"
        " station=value_json.get('source', value_json.get('heard', {}).get('source'))) | tojson }}{% endif %}"
    ),
}
"""An event for each alert, emergencies among them: what it says is in our words, but for the callsign."""

_TRACKER_ATTRIBUTES = (
    "{% set position = value_json.memory.get('position', {}) if value_json is defined else {} %}"
    "{{ dict(position, gps_accuracy=(position.get('ambiguity_m', 0) / 2) | round | int) | tojson }}"
)
"""What a tracker's attributes are made of. A position that is blurred is the centre of a cell: off by half its size."""


@dataclass(frozen=True, slots=True)
class Announcer:
    """Makes the messages of one gateway."""

    node: str
    """Names this gateway among all that announce to the same hub: letters, digits, hyphens and underscores."""

    callsign: str
    root: str
    """What all of the gateway's topics begin with: `<base>/<callsign>`."""

    def gateway(self, parts: Iterable[tuple[str, str]]) -> PlainObject:
        """The message for the gateway, whose parts have these kinds and names."""
        read_health = {"state_topic": f"{self.root}/health", **self._while_online()}
        components: dict[str, PlainObject] = {
            "connection": {
                "platform": "binary_sensor",
                "name": "Connection",
                "device_class": "connectivity",
                "state_topic": f"{self.root}/status",
                "payload_on": "online",
                "payload_off": "offline",
                **_DIAGNOSTIC,
            }
        }
        components |= {key: {**fields, **read_health} for key, fields in _of_the_post()}
        components["alert"] = {**_ALERT, "state_topic": f"{self.root}/alerts", **self._while_online()}
        components["keep"] |= {"json_attributes_topic": f"{self.root}/health"}
        components["farthest_today"] |= {"json_attributes_topic": f"{self.root}/health"}
        for kind, name in parts:
            key, fields = _of_a_part(kind, name)
            components[key] = {**fields, "json_attributes_topic": f"{self.root}/health", **read_health}
        device = {"name": f"{PROGRAM} {self.callsign}", "model": "Gateway", "sw_version": __version__}
        return self._message(GATEWAY, device, components)

    def station(self, source: str, repertoire: Repertoire) -> PlainObject:
        """The message for a listed station that is known to send `repertoire`."""
        topic = f"{self.root}/stations/{source}"
        read_station = {"state_topic": topic, **self._while_remembered(topic)}
        components: dict[str, PlainObject] = {
            "tracker": {
                "platform": "device_tracker",
                "name": None,
                "source_type": "gps",
                "json_attributes_topic": topic,
                "json_attributes_template": _TRACKER_ATTRIBUTES,
                **self._while_remembered(topic),
            },
            "last_heard": {
                **_TIMESTAMP,
                "name": "Last heard",
                "value_template": _value("time"),
                **read_station,
            },
        }
        for key, fields in [*_of_fields(repertoire.fields), *map(_of_a_channel, repertoire.channels)]:
            components[key] = {**fields, **read_station}
        device = {"name": source, "model": "Station", "via_device": self._identifier(GATEWAY)}
        return self._message(source, device, components)

    def _message(self, device_id: str, device: PlainObject, components: Mapping[str, PlainObject]) -> PlainObject:
        return {
            "device": {"identifiers": [self._identifier(device_id)], "manufacturer": PROGRAM, **device},
            "origin": {"name": PROGRAM, "sw_version": __version__},
            "components": {
                key: {**component, "unique_id": f"{self._identifier(device_id)}_{key}"}
                for key, component in components.items()
            },
        }

    def _identifier(self, device_id: str) -> str:
        return f"{self.node}_{device_id}"

    def _while_online(self) -> PlainObject:
        return {"availability": [{"topic": f"{self.root}/status"}]}

    def _while_remembered(self, station_topic: str) -> PlainObject:
        """Not once the station is forgotten and its topic is cleared: what it said then is no longer true."""
        remembered = {"topic": station_topic, "value_template": "{{ 'online' if value else 'offline' }}"}
        return {"availability": [{"topic": f"{self.root}/status"}, remembered], "availability_mode": "all"}


def _of_the_post() -> Iterator[tuple[str, PlainObject]]:
    """What `health` tells of the whole post."""
    per_minute = Measure("Frames per minute", unit="frames/min").fields()
    heard_lately = Measure("Stations in the last hour", unit="stations").fields()
    yield "state", {**_STATE, "name": "State", "value_template": _value("state")}
    yield "frames_per_minute", {**per_minute, "value_template": _value("activity", "frames_per_minute")}
    yield "stations_last_hour", {**heard_lately, "value_template": _value("activity", "stations_last_hour")}
    yield (
        "last_heard",
        {**_TIMESTAMP, "name": "Last heard", "value_template": _value("activity", "last_heard")},
    )
    yield "heard", {**_COUNTER, "name": "Heard", "value_template": _value("counts", "heard")}
    yield "sent", {**_COUNTER, "name": "Sent", "value_template": _value("counts", "outcomes", "sent")}
    by_reason = {"json_attributes_template": _template("value_json.counts.keep_by_reason | tojson")}
    yield "keep", {**_COUNTER, "name": "Kept", "value_template": _value("counts", "keep"), **by_reason}
    farthest = Measure("Farthest heard direct today", "distance", "km").fields()
    who = {"json_attributes_template": _template("value_json.get('reach', {}).get('today', {}) | tojson")}
    yield "farthest_today", {**farthest, "value_template": _value("reach", "today", "farthest_km"), **who}


def _of_a_part(kind: str, name: str) -> tuple[str, PlainObject]:
    """How one part is; why, and what to do about it, are in the attributes."""
    is_this = f"selectattr('kind', 'eq', {_literal(kind)}) | selectattr('name', 'eq', {_literal(name)})"
    part = f"(value_json.parts | {is_this} | first | default({{}}))"
    called = kind.capitalize() if name == kind else f"{kind.capitalize()} {name}"
    fields = {
        **_STATE,
        "name": called,
        "value_template": _template(f"{part}.get('state')"),
        "json_attributes_template": _template(f"{part} | tojson"),
    }
    return f"part_{kind}" if name == kind else f"part_{kind}_{name}", fields


def _of_fields(names: Iterable[str]) -> Iterator[tuple[str, PlainObject]]:
    """Sensors for fields of position and weather, in the order of their tables."""
    wanted = frozenset(names)
    for part, table in (("position", measures.POSITION), ("weather", measures.WEATHER)):
        for name, measure in table.items():
            if name in wanted:
                yield name, {**measure.fields(), "value_template": _value("memory", part, name)}


def _of_a_channel(channel: Channel) -> tuple[str, PlainObject]:
    value = _value("memory", "telemetry", "channels", channel.key)
    if channel.is_bit:
        as_rendered = {"payload_on": "True", "payload_off": "False"}
        fields = {"platform": "binary_sensor", "name": channel.name, **as_rendered, "value_template": value}
        return f"{BIT_PREFIX}{channel.key}", fields
    fields = measures.telemetry_measure(channel.key, channel.name, channel.unit).fields()
    return f"{NUMBER_PREFIX}{channel.key}", {**fields, "value_template": value}


def _value(*names: str) -> str:
    """A template for a field within a field; `None` where it is not there, which a hub takes for unknown."""
    *outer, last = map(_literal, names)
    lookup = "".join(f".get({name}, {{}})" for name in outer) + f".get({last})"
    return _template(f"value_json{lookup}")


def _template(expression: str) -> str:
    """A template for an expression about the message. The one that clears a topic is no JSON: `None`."""
    return f"{{{{ {expression} if value_json is defined else none }}}}"


def _literal(text: str) -> str:
    """A string as a template writes one: our own words and the operator's, never the air's."""
    escaped = json.dumps(text, ensure_ascii=False)[1:-1].replace("'", "\\u0027")
    return f"'{escaped}'"


def components_of(message: bytes) -> dict[str, Mapping[str, Any]]:
    """The components that a message found at the broker announces, by key: none where it is no message of ours."""
    if len(message) > LARGEST_MESSAGE:
        return {}
    try:
        plain = json.loads(message)
    except (ValueError, RecursionError):
        return {}
    components = plain.get("components") if isinstance(plain, dict) else None
    if not isinstance(components, dict):
        return {}
    ours = {
        key: component
        for key, component in components.items()
        if _KEY.fullmatch(key) and isinstance(component, dict) and str(component.get("platform")) in _PLATFORMS
    }
    return dict(list(ours.items())[:MOST_COMPONENTS])


def with_departures(message: PlainObject, before: Mapping[str, Mapping[str, Any]]) -> PlainObject | None:
    """`message`, saying also that components which were announced `before` are gone; None where none are.

    A hub keeps a component that a message merely leaves out. It drops one of which nothing but the platform is given.
    """
    components = message["components"]
    gone = {key: {"platform": old["platform"]} for key, old in before.items() if key not in components and len(old) > 1}
    return {**message, "components": {**components, **gone}} if gone else None
