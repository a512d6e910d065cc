"""Discovery messages held to the convention that Home Assistant documents, and their templates to what we publish.

The tables below were written from its documentation (page "MQTT", under "MQTT Discovery"; pages "MQTT Sensor", "MQTT
Binary sensor", "MQTT Device tracker"; page "Sensor", under "Available device classes" and "Available state classes"),
from memory, and compared with what release 2025.4.4 of it accepts. `tests.bench --only hub` tries it on a real one.
"""

import contextlib
import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jinja2 import StrictUndefined
from jinja2.sandbox import ImmutableSandboxedEnvironment

from gateway.alerts.alert import AlertKind, alert_object, emergency_alert
from gateway.bus import measures
from gateway.bus.discovery import GATEWAY, Announcer, components_of, with_departures
from gateway.bus.repertoire import Repertoire
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import encode, heard_object
from gateway.feed.latest import POSITION_FIELDS, WEATHER_FIELDS, Channel
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import Part, PartKind, State
from gateway.judge.verdict import Reason
from tests.judged_frames import Post

ANNOUNCER = Announcer("stile-QX1GAT-10-1a2b", "QX1GAT-10", "stile/QX1GAT-10")
PARTS = [(PartKind.RECEIVER, "vhf"), (PartKind.RECEIVER, "hf-30"), (PartKind.UPLINK, "uplink"), (PartKind.BUS, "bus")]
EVERYTHING = Repertoire(
    frozenset({*measures.POSITION, *measures.WEATHER}),
    (Channel("battery", "Battery", "volts", is_bit=False), Channel("hatch", "Hatch", "open", is_bit=True)),
)

# Page "MQTT", "Device discovery payload": what must be there, and what may be.
MESSAGE = {"device", "origin", "components"}
DEVICE = {"identifiers", "manufacturer", "model", "name", "sw_version", "via_device"}
ORIGIN = {"name", "sw_version"}

# "Configuration variables" of each platform's page, those that every platform has among them.
EVERY_PLATFORM = {
    "platform",
    "unique_id",
    "name",
    "availability",
    "availability_mode",
    "entity_category",
    "json_attributes_topic",
    "json_attributes_template",
}
OF_PLATFORM = {
    "sensor": {"state_topic", "value_template", "device_class", "state_class", "unit_of_measurement", "options"},
    "binary_sensor": {"state_topic", "value_template", "device_class", "payload_on", "payload_off"},
    "device_tracker": {"source_type"},
    "event": {"state_topic", "value_template", "device_class", "event_types"},
}

# Page "Sensor": the units of each device class, and the state classes that go with it.
DEVICE_CLASSES = {
    "atmospheric_pressure": ({"hPa", "mbar", "bar", "kPa", "Pa", "psi", "inHg", "mmHg", "cbar"}, {"measurement"}),
    "battery": ({"%"}, {"measurement"}),
    "current": ({"A", "mA"}, {"measurement"}),
    "distance": ({"km", "m", "cm", "mm", "mi", "nmi", "yd", "in", "ft"}, {"measurement", "total", "total_increasing"}),
    "frequency": ({"Hz", "kHz", "MHz", "GHz"}, {"measurement"}),
    "humidity": ({"%"}, {"measurement"}),
    "illuminance": ({"lx"}, {"measurement"}),
    "irradiance": ({"W/m²", "BTU/(h⋅ft²)"}, {"measurement"}),
    "power": ({"mW", "W", "kW", "MW", "GW", "TW"}, {"measurement"}),
    "precipitation": ({"cm", "in", "mm"}, {"measurement", "total", "total_increasing"}),
    "pressure": ({"Pa", "kPa", "hPa", "bar", "cbar", "mbar", "mmHg", "inHg", "psi"}, {"measurement"}),
    "signal_strength": ({"dB", "dBm"}, {"measurement"}),
    "speed": ({"ft/s", "in/d", "in/h", "in/s", "km/h", "kn", "m/s", "mph", "mm/d", "mm/s"}, {"measurement"}),
    "temperature": ({"°C", "°F", "K"}, {"measurement"}),
    "voltage": ({"V", "mV", "µV", "kV", "MV"}, {"measurement"}),
    "wind_direction": ({"°"}, {"measurement_angle"}),
    "wind_speed": ({"ft/s", "km/h", "kn", "m/s", "mph"}, {"measurement"}),
}
STATE_CLASSES = {"measurement", "measurement_angle", "total", "total_increasing"}


def messages() -> list[PlainObject]:
    return [ANNOUNCER.gateway(PARTS), ANNOUNCER.station("QA1BCD-9", EVERYTHING)]


COMPONENTS = [entry for message in messages() for entry in message["components"].items()]


def render(template: str, payload: bytes) -> str:
    """A template with what the page "Using templates with the MQTT integration" says that it is given."""
    environment = ImmutableSandboxedEnvironment(undefined=StrictUndefined)
    known: dict[str, Any] = {"value": payload.decode("utf-8")}
    with contextlib.suppress(ValueError):
        known["value_json"] = json.loads(payload)
    return environment.from_string(template).render(known)


@pytest.mark.parametrize("message", messages(), ids=["gateway", "station"])
def test_a_message_has_the_documented_parts(message: PlainObject) -> None:
    assert set(message) == MESSAGE
    assert message["device"]["identifiers"]
    assert set(message["device"]) <= DEVICE
    assert set(message["origin"]) == ORIGIN


@pytest.mark.parametrize(("key", "component"), COMPONENTS)
def test_a_component_has_documented_fields_alone_and_those_that_it_must_have(key: str, component: PlainObject) -> None:
    platform = component["platform"]
    assert set(component) <= EVERY_PLATFORM | OF_PLATFORM[platform]
    assert component["unique_id"].endswith(f"_{key}")
    if platform != "device_tracker":
        assert component["state_topic"]
    assert component.get("entity_category", "diagnostic") == "diagnostic"


@pytest.mark.parametrize(("key", "component"), COMPONENTS)
def test_units_and_state_classes_are_those_of_the_device_class(key: str, component: PlainObject) -> None:
    if component["platform"] != "sensor":
        return
    device_class, unit = component.get("device_class"), component.get("unit_of_measurement")
    state_class = component.get("state_class")
    if device_class in {"timestamp", "enum"}:  # these have neither; an enum has its options
        assert (unit, state_class) == (None, None)
        assert ("options" in component) == (device_class == "enum")
        return
    assert state_class in STATE_CLASSES, key
    if device_class is not None:
        units, state_classes = DEVICE_CLASSES[device_class]
        assert unit in units
        assert state_class in state_classes


@pytest.mark.parametrize(
    "written", ["V", "volts", " Volt.", "mA", "deg.C", "°F", "%", "hPa", "km/h", "lux", "dBm", "Hz"]
)
def test_units_of_telemetry_that_a_hub_knows_go_with_their_device_class(written: str) -> None:
    measure = measures.telemetry_measure("bat", "Bat", written)
    assert measure.device_class is not None
    units, state_classes = DEVICE_CLASSES[measure.device_class]
    assert measure.unit in units
    assert measure.state_class in state_classes


def test_a_percentage_is_a_batterys_only_where_it_is_called_so() -> None:
    assert measures.telemetry_measure("battery", "Battery", "%").device_class == "battery"
    assert measures.telemetry_measure("tank", "Tank", "%").device_class is None


@given(st.text())
def test_a_unit_that_no_hub_knows_is_left_out(written: str) -> None:
    unit = measures.telemetry_measure("x", "X", written).unit
    assert unit is None or unit in {unit for units, _ in DEVICE_CLASSES.values() for unit in units}


def test_every_identifier_is_there_once() -> None:
    identifiers = [component["unique_id"] for _, component in COMPONENTS]
    assert len(set(identifiers)) == len(identifiers)


def test_a_station_hangs_on_its_gateway() -> None:
    gateway, station = messages()
    assert [station["device"]["via_device"]] == gateway["device"]["identifiers"]


def test_fields_are_announced_only_once_a_station_has_sent_them() -> None:
    assert set(ANNOUNCER.station("QA1BCD-9", Repertoire())["components"]) == {"tracker", "last_heard"}
    with_weather = Repertoire(frozenset({"temperature_c"}))
    assert set(ANNOUNCER.station("QA1BCD-9", with_weather)["components"]) == {"tracker", "last_heard", "temperature_c"}


def test_every_measure_is_of_a_field_that_is_kept_of_a_station() -> None:
    assert set(measures.POSITION) <= set(POSITION_FIELDS)
    assert set(measures.WEATHER) <= set(WEATHER_FIELDS)


def _health(state: State = State.OK, **activity: object) -> bytes:
    parts = [Part(kind, name, state, 1_780_747_200_000, "it is so", "do this") for kind, name in PARTS]
    counts = Counts(10, 4, {Reason.DUPLICATE: 5, Reason.OVER_RATE: 1})
    plain = Health("0f1e2d3c4b5a", 1_780_747_200_000, parts, counts).to_object()
    return encode({**plain, "activity": activity} if activity else plain)


def _states(message: PlainObject, payload: bytes) -> dict[str, str]:
    return {
        key: render(component["value_template"], payload)
        for key, component in message["components"].items()
        if "value_template" in component
    }


def test_the_gateways_entities_read_its_health() -> None:
    payload = _health(
        State.DEGRADED, frames_per_minute=12, stations_last_hour=34, last_heard="2026-06-06T12:00:00.000Z"
    )
    message = ANNOUNCER.gateway(PARTS)
    states = _states(message, payload)
    assert states["state"] == states["part_receiver_vhf"] == states["part_uplink"] == "degraded"
    assert states["frames_per_minute"] == "12"
    assert states["stations_last_hour"] == "34"
    assert states["last_heard"] == "2026-06-06T12:00:00.000Z"
    assert (states["heard"], states["sent"], states["keep"]) == ("10", "None", "6")
    by_reason = render(message["components"]["keep"]["json_attributes_template"], payload)
    assert json.loads(by_reason) == {"duplicate": 5, "over-rate": 1}
    attributes = render(message["components"]["part_receiver_vhf"]["json_attributes_template"], payload)
    assert json.loads(attributes)["why"] == "it is so"


def test_the_farthest_station_of_the_day_is_told_with_its_call() -> None:
    today = {"farthest_km": 41.2, "station": "QA1BCD-9", "time": "2026-06-06T12:00:00.000Z"}
    payload = encode({**json.loads(_health()), "reach": {"direct_last_hour": 3, "today": today}})
    component = ANNOUNCER.gateway(PARTS)["components"]["farthest_today"]
    assert render(component["value_template"], payload) == "41.2"
    assert json.loads(render(component["json_attributes_template"], payload)) == today
    assert render(component["value_template"], _health()) == "None"


def test_an_alert_is_an_event_of_its_kind() -> None:
    """Page "MQTT Event" (from memory): the value is JSON with an `event_type` that was announced."""
    component = ANNOUNCER.gateway(PARTS)["components"]["alert"]
    assert component["event_types"] == [kind.value for kind in AlertKind]
    post = Post()
    moment = post.now()
    silent = alert_object(AlertKind.SILENT, "buoy", moment, "not heard for 1 h", since_ms=0, source="QC3BUOY")
    judged = post.hear(b"QA1BCD-9>APRS:!5836.00N/00355.00W>!EMERGENCY!")
    for alert, station in ((silent, "QC3BUOY"), (emergency_alert(judged, heard_object(judged)), "QA1BCD-9")):
        event = json.loads(render(component["value_template"], encode(alert)))
        assert (event["event_type"], event["station"], event["what"]) == (alert["kind"], station, alert["what"])
        assert event["repeated"] is False


def test_there_is_a_sensor_for_every_part() -> None:
    keys = set(ANNOUNCER.gateway(PARTS)["components"])
    assert not {key for key in keys if key.startswith("keep_")}
    assert {"part_receiver_vhf", "part_receiver_hf-30", "part_uplink", "part_bus", "connection"} < keys


def test_what_health_does_not_say_is_unknown() -> None:
    """Page "MQTT Sensor", `state_topic`: `None` makes a state unknown."""
    states = _states(ANNOUNCER.gateway([*PARTS, (PartKind.JOURNAL, "journal")]), _health())
    assert states["last_heard"] == states["frames_per_minute"] == states["part_journal"] == "None"


def _station(**memory: object) -> bytes:
    return encode({"time": "2026-06-06T12:00:00.000Z", "source": "QA1BCD-9", "memory": {"frames": 1, **memory}})


def test_a_stations_entities_read_its_topic() -> None:
    payload = _station(
        position={"latitude": 58.6, "longitude": -3.9, "distance_km": 4.2, "speed_kmh": 0},
        weather={"temperature_c": -0.5, "wind_deg": 0},
        telemetry={"channels": {"battery": 12.7, "hatch": False}},
    )
    message = ANNOUNCER.station("QA1BCD-9", EVERYTHING)
    states = _states(message, payload)
    assert (states["distance_km"], states["speed_kmh"], states["temperature_c"]) == ("4.2", "0", "-0.5")
    assert (states["wind_deg"], states["telemetry_battery"], states["humidity_pct"]) == ("0", "12.7", "None")
    assert states["bit_hatch"] == message["components"]["bit_hatch"]["payload_off"]
    assert states["last_heard"] == "2026-06-06T12:00:00.000Z"


@pytest.mark.parametrize(
    ("position", "accuracy"),
    [({"latitude": 1.5, "longitude": 2.5, "ambiguity_m": 1852}, 926), ({"latitude": 1.5, "longitude": 2.5}, 0)],
)
def test_a_tracker_takes_place_and_accuracy_from_its_attributes(position: PlainObject, accuracy: int) -> None:
    """Page "MQTT Device tracker": `latitude`, `longitude` and `gps_accuracy` in the attributes."""
    tracker = ANNOUNCER.station("QA1BCD-9", EVERYTHING)["components"]["tracker"]
    attributes = json.loads(render(tracker["json_attributes_template"], _station(position=position)))
    assert attributes == {**position, "gps_accuracy": accuracy}


def test_a_station_that_never_said_where_it_is_is_nowhere() -> None:
    tracker = ANNOUNCER.station("QA1BCD-9", EVERYTHING)["components"]["tracker"]
    assert json.loads(render(tracker["json_attributes_template"], _station())) == {"gps_accuracy": 0}


def test_a_station_is_available_while_its_topic_holds_something() -> None:
    for component in ANNOUNCER.station("QA1BCD-9", EVERYTHING)["components"].values():
        status, topic = component["availability"]
        assert component["availability_mode"] == "all"
        assert status == {"topic": "stile/QX1GAT-10/status"}
        assert topic["topic"] == "stile/QX1GAT-10/stations/QA1BCD-9"
        assert render(topic["value_template"], _station()) == "online"
        assert render(topic["value_template"], b"") == "offline"


def test_the_message_that_clears_a_topic_breaks_no_template() -> None:
    for key, component in ANNOUNCER.station("QA1BCD-9", EVERYTHING)["components"].items():
        for field in ("value_template", "json_attributes_template"):
            if field in component:
                assert render(component[field], b"") in {"None", '{"gps_accuracy": 0}'}, key


@given(st.text(max_size=20))
def test_a_name_in_the_station_file_cannot_break_out_of_a_template(name: str) -> None:
    component = ANNOUNCER.gateway([(PartKind.RECEIVER, name)])["components"][f"part_receiver_{name}"]
    parts = [
        {"kind": "receiver", "name": f"not {name}", "state": "down"},
        {"kind": "receiver", "name": name, "state": "ok"},
    ]
    assert render(component["value_template"], encode({"parts": parts})) == "ok"


def test_what_is_announced_no_longer_is_said_to_be_gone() -> None:
    """Page "MQTT", "Device discovery payload": a component is removed by one that holds nothing but its platform."""
    message = ANNOUNCER.station("QA1BCD-9", Repertoire())
    before = components_of(encode(ANNOUNCER.station("QA1BCD-9", EVERYTHING)))
    parting = with_departures(message, before)
    assert parting is not None
    assert parting["components"]["bit_hatch"] == {"platform": "binary_sensor"}
    assert parting["components"]["temperature_c"] == {"platform": "sensor"}
    assert parting["components"]["tracker"] == message["components"]["tracker"]
    assert with_departures(message, components_of(encode(parting))) is None


@given(
    st.binary(max_size=200)
    | st.recursive(st.none() | st.booleans() | st.text(), st.lists).map(json.dumps).map(str.encode)
)
def test_any_bytes_at_all_may_stand_where_our_message_should(found: bytes) -> None:
    assert components_of(found) == {}


@pytest.mark.parametrize(
    "found",
    [
        b"[" * 60_000,
        b"{" + b" " * 70_000 + b"}",
        b'{"components": []}',
        b'{"components": {"a": 1, "b": {}, "c": {"platform": []}, "d": {"platform": "climate"}}}',
        b'{"components": {"../x": {"platform": "sensor"}, "": {"platform": "sensor"}}}',
    ],
)
def test_what_is_no_message_of_ours_announces_nothing(found: bytes) -> None:
    assert components_of(found) == {}


def test_what_an_earlier_run_knew_is_taken_over_but_nothing_that_no_station_can_send() -> None:
    found = components_of(encode(ANNOUNCER.station("QA1BCD-9", EVERYTHING)))
    assert Repertoire().with_announced(found) == Repertoire(
        EVERYTHING.fields,
        (Channel("battery", "Battery", "V", is_bit=False), Channel("hatch", "Hatch", "", is_bit=True)),
    )
    forged = {
        "backdoor": {"platform": "binary_sensor", "name": "Backdoor"},
        "telemetry_x{{": {"platform": "sensor", "name": "x"},
        "telemetry_y": {"platform": "sensor", "name": "{{}}"},
        "telemetry_z": {"platform": "sensor", "name": "{{ 1 }}", "unit_of_measurement": "{{ 2 }}"},
    }
    adopted = Repertoire().with_announced(forged)
    assert adopted == Repertoire(channels=(Channel("z", "1", "{{ 2 }}", is_bit=False),))
    assert "unit_of_measurement" not in ANNOUNCER.station("QA1", adopted)["components"]["telemetry_z"]


def test_the_gateway_is_no_station() -> None:
    assert GATEWAY.upper() != GATEWAY
