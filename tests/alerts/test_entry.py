"""What an operator may write under `alerts:`, and what is said of what they may not."""

import dataclasses

import pytest
from jsonschema import Draft202012Validator

from gateway.alerts.entry import Alert, WeatherThresholds, problems
from gateway.documents import DocumentError
from gateway.reports import Weather
from tests.alerts.alerting import written


@pytest.mark.parametrize(
    ("entry", "said"),
    [
        ("{name: x}", "give silent, or deaf, or what a frame must meet: when, area, outside, weather"),
        ("{name: x, silent: {source: QA1, for: 1h}, deaf: {for: 1h}}", "give silent, or deaf, or what a frame must"),
        ("{name: x, when: {source: QA1}, deaf: {for: 1h}}", "give silent, or deaf, or what a frame must meet"),
        ("{name: emergency, when: {source: QA1}}", "emergencies raise alerts of this name by themselves"),
        ("{name: Big, when: {source: QA1}}", "is no name"),
        ('{name: x, when: {source: "@club"}}', "groups belong to the policy: list the callsigns of @club here"),
        ('{name: x, when: {not: {via: "@club"}}}', "groups belong to the policy"),
        ("{name: x, when: {}}", "give at least one condition"),
        ("{name: x, wen: {source: QA1}}", 'unknown key - did you mean "when"?'),
        ("{name: x, area: {latitude: 58.6, longitude: -3.9}}", "give latitude, longitude and radius, or corners alone"),
        ("{name: x, area: {}}", "give latitude, longitude and radius, or corners alone"),
        (
            "{name: x, area: {radius: 1km, corners: [" + 3 * "{latitude: 1, longitude: 1}," + "]}}",
            "give latitude, longitude and radius, or corners alone",
        ),
        (
            "{name: x, area: {corners: [{latitude: 1, longitude: 1}, {latitude: 2, longitude: 1}]}}",
            "a polygon has 3 corners at least",
        ),
        ("{name: x, area: {latitude: 91, longitude: 0, radius: 1km}}", "less than or equal to 90"),
        ("{name: x, area: {latitude: 1, longitude: 0, radius: 5}}", "5 is no distance"),
        ("{name: x, weather: {}}", "give at least one field, as gust_ms: {above: 20}"),
        ("{name: x, weather: {gusts_ms: {above: 20}}}", 'did you mean "gust_ms"?'),
        ("{name: x, weather: {gust_ms: 20}}", "keys with values belong here: above, below"),
        ("{name: x, weather: {gust_ms: {}}}", "give above, below or both"),
        ("{name: x, weather: {gust_ms: {above: 20, below: 10}}}", "this can never hold"),
        ('{name: x, weather: {gust_ms: {above: "20"}}}', "a number belongs here"),
        ("{name: x, weather: {gust_ms: {above: .nan}}}", "finite number"),
        ("{name: x, silent: {source: QA1}}", "this key is missing, and it is required"),
        ('{name: x, silent: {source: "QA1*", for: 30m}}', "is named in full, as QA1BCD-9"),
        ("{name: x, silent: {source: QA1, for: 5s}}", "this should be from 1m to 366d"),
        ("{name: x, deaf: {for: 2}}", "2 is no length of time"),
        ("{name: x, when: {source: QA1}, again: 5s}", "this should be from 1m to 366d"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_what_to_do(entry: str, said: str) -> None:
    with pytest.raises(DocumentError) as refused:
        written(entry)
    text = str(refused.value)
    assert said in text
    assert text.startswith("station.yaml:1: alerts[0]")


def test_the_weather_fields_are_those_that_reports_publish() -> None:
    assert set(WeatherThresholds.model_fields) == {field.name for field in dataclasses.fields(Weather)}


def test_a_silent_station_is_named_as_the_network_writes_it() -> None:
    (alert,) = written("{name: x, silent: {source: [qa1bcd-0, QA2], for: 30m}}")
    assert alert.silent is not None
    assert alert.silent.source == ["QA1BCD", "QA2"]


@pytest.mark.parametrize(
    ("text", "located", "found"),
    [
        ("{name: x, when: {source: QA1, distance: {within: 5km}}}", True, []),
        (
            "{name: x, when: {source: QA1}}, {name: x, deaf: {for: 1h}}",
            True,
            [((1, "name"), "two alerts are called x: give each a name of its own")],
        ),
        ("{name: x, deaf: {for: 1h, receiver: vhf}}", True, []),
        ("{name: x, deaf: {for: 1h, receiver: hf}}", True, [((0, "deaf", "receiver"), "there is no receiver hf")]),
        ("{name: x, when: {receiver: [vhf, hf]}}", True, [((0, "when", "receiver"), "there is no receiver hf")]),
        ("{name: x, when: {not: {receiver: hf}}}", True, [((0, "when", "not", "receiver"), "there is no receiver hf")]),
        (
            "{name: x, when: {not: {distance: {within: 5km}}}}",
            False,
            [((0, "when"), "a distance is reckoned from the station: give its position under station:")],
        ),
        ("{name: x, area: {latitude: 58.6, longitude: -3.9, radius: 2km}}", False, []),
    ],
)
def test_the_section_is_looked_at_as_a_whole(text: str, *, located: bool, found: list[object]) -> None:
    assert [*problems(written(text), ["vhf"], located=located)] == found


def test_the_section_has_a_schema_for_editors_that_takes_what_the_models_take() -> None:
    schema = Alert.model_json_schema(by_alias=True)
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    assert validator.is_valid({"name": "gale", "weather": {"gust_ms": {"above": 20}}, "again": "6h"})
    assert validator.is_valid({"name": "x", "silent": {"source": "QA1BCD-9", "for": "30m"}})
    assert not validator.is_valid({"name": "x", "silent": {"source": "QA1*", "for": "30m"}})
    assert not validator.is_valid({"name": "x", "weather": {"gusts_ms": {"above": 20}}})
