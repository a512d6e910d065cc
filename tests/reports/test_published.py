"""The published object and its schema."""

import pytest
from jsonschema import Draft202012Validator, ValidationError

from gateway.reports import Kind, StatusReport, load_schema, read, to_object
from gateway.reports.published import _plan

SCHEMA = Draft202012Validator(load_schema())


def test_the_schema_is_a_schema_and_names_every_kind() -> None:
    Draft202012Validator.check_schema(load_schema())
    schema = load_schema()
    assert schema["properties"]["kind"]["enum"] == [kind.value for kind in Kind]
    assert [rule["if"]["properties"]["kind"]["const"] for rule in schema["allOf"]] == [kind.value for kind in Kind]


def test_every_name_in_the_schemas_groups_is_a_property_and_every_property_is_in_a_group() -> None:
    schema = load_schema()
    grouped = {name for group in schema["$defs"].values() for name in group["enum"]}
    own = {
        name
        for rule in schema["allOf"]
        for names in rule["then"]["propertyNames"]["anyOf"]
        for name in names.get("enum", [])
    }
    assert grouped | own == set(schema["properties"])


def test_what_others_add_is_allowed() -> None:
    published = to_object(read("APRS", b"!5836.00N/00355.00W>"))
    SCHEMA.validate(published | {"distance_km": 1.2, "bearing_deg": 88.0, "relayed_by": "QD1DIG-1"})
    telemetry = to_object(read("APRS", b"T#005,199,000,255,073,123,01101001"))
    SCHEMA.validate(telemetry | {"channels": [{"name": "Battery", "value": 12.4, "unit": "V"}]})


@pytest.mark.parametrize(
    "wrong",
    [
        {"kind": "position", "addressee": "QA1BCD"},
        {"kind": "message"},
        {"kind": "position", "latitude": 1.0},
        {"kind": "position", "latitude": 91.0, "longitude": 0.0, "written": "plain-text"},
        {"kind": "status", "anything": 1},
        {"kind": "nothing"},
        {"kind": "unknown"},
        {"kind": "status", "text": ""},
    ],
)
def test_what_no_report_says_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        SCHEMA.validate(wrong)


def test_what_was_not_sent_is_not_there() -> None:
    assert to_object(read("APRS", b"!5836.00N/00355.00W>")) == {
        "kind": "position",
        "written": "plain-text",
        "latitude": 58.6,
        "longitude": -3.916667,
        "ambiguity": 0,
        "symbol": "/>",
        "takes_messages": False,
    }


def test_a_zero_has_no_sign() -> None:
    published = to_object(read("APRS", b"!0000.00S/00000.00W>"))
    assert str(published["latitude"]) == str(published["longitude"]) == "0.0"


def test_numbers_are_rounded_to_what_their_source_can_mean() -> None:
    published = to_object(read("APRS", b"!5836.00N/00355.01W>001/001/A=000001"))
    assert published["longitude"] == -3.916833
    assert published["speed_kmh"] == 1.9
    assert published["altitude_m"] == 0.3


def test_only_parts_of_reports_are_published() -> None:
    with pytest.raises(TypeError, match="no part of a report"):
        _plan(str)
    assert to_object(StatusReport()) == {"kind": "status"}


def test_a_report_answers_the_same_questions_whatever_its_kind() -> None:
    status = read("APRS", b">Net Control Center")
    assert (status.position, status.symbol, status.addressee, status.prose) == (None, None, None, "Net Control Center")
    message = read("APRS", b":QA1BCD-9 :Hello")
    assert (message.position, message.symbol, message.addressee, message.prose) == (None, None, "QA1BCD-9", "Hello")
    buoy = read("APRS", b";BUOY     *092345z5836.00N/00355.00W_220/004t077Wrack")
    assert buoy.position is not None
    assert (buoy.kind, buoy.symbol, buoy.addressee, buoy.prose) == (Kind.OBJECT, "/_", None, "Wrack")
    query = read("APRS", b":QA1BCD-9 :?APRSH QB2BCD")
    assert (query.kind, query.addressee, query.prose) == (Kind.QUERY, "QA1BCD-9", "QB2BCD")
    nothing = read("APRS", b"")
    assert (nothing.kind, nothing.prose, nothing.is_emergency) == (Kind.UNKNOWN, "", False)
