"""Stations as GeoJSON, held to a general library's models of RFC 7946 (`geojson_pydantic`)."""

import json

import pytest
from geojson_pydantic import Feature, FeatureCollection, Point

from gateway.feed.heard_object import HeardPayload
from gateway.feed.schemas import Schema
from gateway.web.geojson import feature, point
from tests.answers import figure
from tests.judged_frames import Post
from tests.payload_schemas import held_to
from tests.web.opened import LINE, Gateway, open_web


def feature_of(*lines: bytes) -> Feature[Point, dict[str, object]]:
    gateway = Gateway()
    for line in lines:
        gateway.hear(line)
    (station,) = gateway.stations
    return Feature[Point, dict[str, object]].model_validate_json(feature(station))


def test_a_station_with_a_position_is_a_point_with_the_longitude_first() -> None:
    read = feature_of(LINE)
    assert read.id == "QA1BCD-9"
    assert read.geometry is not None
    assert read.geometry.coordinates == pytest.approx((-3 - 55 / 60, 58.6), abs=1e-6)


def test_the_properties_are_those_of_its_topic_on_the_bus() -> None:
    read = feature_of(LINE, LINE)
    properties = held_to(Schema.STATION, json.dumps(read.properties).encode())
    assert properties["sequence"] == 2
    memory = properties["memory"]
    assert isinstance(memory, dict)
    assert memory["frames"] == 2


@pytest.mark.parametrize(
    "line",
    [
        b"QA1BCD-9>APRS:>where I am is nobody's business",
        b"QA1BCD-9>APRS:;BUOY 1   *061200z5836.00N/00355.00W/the object is there, not its sender",
        b"QA1BCD-9>APRS:)BUOY 1!5836.00N/00355.00W/nor the item",
    ],
)
def test_a_station_that_does_not_say_where_it_is_has_no_geometry(line: bytes) -> None:
    assert feature_of(line).geometry is None


def test_weather_with_a_position_has_one_and_a_damaged_frame_has_none() -> None:
    assert feature_of(b"QB3BCD>APRS:!5836.00N/00355.00W_220/004g005t077").geometry is not None
    assert feature_of(b"QB3BCD>APRS:_10090556c220s004g005t077").geometry is None
    assert point(HeardPayload(Post().hear(b"no frame"))) is None


async def test_all_stations_are_one_collection() -> None:
    async with open_web() as web:
        for number in range(500):
            web.hear(b"QA%dBC>APRS:!5836.00N/00355.00W>" % number)
        web.hear(b"QB2BCD>APRS:>no position")
        answer = await web.get("/api/stations")
        assert answer.headers["Content-Type"] == "application/geo+json"
        collection = FeatureCollection[Feature[Point, dict[str, object]]].model_validate_json(answer.content)
    assert len(collection.features) == 501
    assert sum(one.geometry is None for one in collection.features) == 1


async def test_without_stations_the_collection_is_empty() -> None:
    async with open_web() as web:
        answer = await web.get("/api/stations")
        assert answer.json() == {"type": "FeatureCollection", "features": []}


async def test_one_station_that_cannot_be_encoded_does_not_take_the_others_with_it() -> None:
    gateway = Gateway(post=Post())
    async with open_web(gateway) as web:
        web.hear()
        web.hear(b"QB2BCD>APRS:>next")
        station = gateway.stations.get("QA1BCD-9")
        assert station is not None
        station.first_heard_ms = None  # type: ignore[assignment] # a fault of our own, in the guise of one
        answer = await web.get("/api/stations")
        assert [one["id"] for one in answer.json()["features"]] == ["QB2BCD"]
        assert figure(web.server, "web_failed") == 1
