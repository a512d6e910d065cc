"""The published worked examples, one row each, with what they mean in our published form.

Notes stand where the source can be read in two ways: which was taken, and why.
"""

import pytest
from jsonschema import Draft202012Validator

from gateway.reports import describe, load_schema, read, to_object
from tests.reports.examples import addenda, messages, mic_e, objects, positions, sentences, weather
from tests.reports.examples.row import Row

ROWS = [
    *positions.DATA_TYPES,
    *positions.TIMES_AND_PLACES,
    *positions.EXTENSIONS,
    *positions.POSITIONS,
    *positions.COMPRESSED,
    *mic_e.MIC_E,
    *objects.OBJECTS,
    *weather.WEATHER_REPORTS,
    *messages.TELEMETRY,
    *messages.MESSAGES,
    *messages.QUERIES,
    *messages.STATUSES,
    *messages.OTHERS,
    *sentences.SENTENCES,
    *addenda.ADDENDA,
]

SCHEMA = Draft202012Validator(load_schema())


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_a_worked_example_means_what_its_source_says(row: Row) -> None:
    assert to_object(read(row.destination, row.information)) == row.expected


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_the_object_of_a_worked_example_holds_to_the_schema_and_can_be_told(row: Row) -> None:
    report = read(row.destination, row.information)
    SCHEMA.validate(to_object(report))
    told = describe(report)
    assert all(label and text for label, text in told)
    assert ("kind", row.expected["kind"]) in told


def test_there_are_as_many_examples_as_promised_and_none_twice() -> None:
    assert len(ROWS) >= 120
    assert len({row.source for row in ROWS}) == len(ROWS)


def test_the_examples_show_every_kind_and_every_field_of_the_schema() -> None:
    schema = load_schema()
    added_by_others = {"distance_km", "bearing_deg", "relayed_by", "channels"}
    shown = {name for row in ROWS for name in row.expected}
    assert shown == set(schema["properties"]) - added_by_others
    assert {row.expected["kind"] for row in ROWS} == set(schema["properties"]["kind"]["enum"])
