"""Distances and bearings, judged by published geodesics and by an independent implementation in C (pyproj)."""

import random

import pyproj
import pytest

from gateway.reports import distance

HOW_MANY = 2000


def degrees(whole: int, minutes: int, seconds: float) -> float:
    return whole + minutes / 60 + seconds / 3600


PUBLISHED = [
    # WGS 84: one degree of the equator, and the quarter meridian (NIMA TR8350.2, from memory).
    (0, 0, 0, 1, 111.319491, 90.0),
    (0, 0, 90, 0, 10001.965729, 0.0),
    # GeographicLib's own documentation, from memory: Wellington to Salamanca, almost the antipodes.
    (-41.32, 174.81, 40.96, -5.50, 19959.679267, 161.067670),
    # Technical manual of the Geocentric Datum of Australia, from memory: Flinders Peak to Buninyong, on GRS 80, which
    # is WGS 84 to a tenth of a millimetre.
    (
        -degrees(37, 57, 3.72030), degrees(144, 25, 29.52440), -degrees(37, 39, 10.15610), degrees(143, 55, 35.38390),
        54.972271, degrees(306, 52, 5.37),
    ),
]  # fmt: skip


@pytest.mark.parametrize(("latitude", "longitude", "to_latitude", "to_longitude", "kilometres", "bearing"), PUBLISHED)
def test_a_published_geodesic_is_met_to_a_millimetre(  # noqa: PLR0913, PLR0917 - two points and the line between
    latitude: float, longitude: float, to_latitude: float, to_longitude: float, kilometres: float, bearing: float
) -> None:
    line = distance.between(latitude, longitude, to_latitude, to_longitude)
    assert line.distance_km == pytest.approx(kilometres, abs=1e-6)
    assert line.bearing_deg == pytest.approx(bearing, abs=1e-5)


def test_lines_agree_with_another_implementation_near_and_far() -> None:
    chance = random.Random("lines")
    judge = pyproj.Geod(ellps="WGS84")
    for count in range(HOW_MANY):
        latitude, longitude = chance.uniform(-89, 89), chance.uniform(-180, 180)
        spread = 180 if count % 2 else 1
        to_latitude = max(-90.0, min(90.0, latitude + chance.uniform(-spread, spread)))
        to_longitude = (longitude + chance.uniform(-spread, spread) + 180) % 360 - 180
        azimuth, _, metres = judge.inv(longitude, latitude, to_longitude, to_latitude)
        line = distance.between(latitude, longitude, to_latitude, to_longitude)
        assert line.distance_km == pytest.approx(metres / 1000, abs=1e-6)
        turn = (line.bearing_deg - azimuth + 180) % 360 - 180
        assert abs(turn) < 1e-6
        assert 0 <= line.bearing_deg < 360


def test_two_equal_points_are_no_distance_apart() -> None:
    assert distance.between(58.6, -3.9167, 58.6, -3.9167) == (0.0, 0.0)


def test_an_origin_gives_the_same_lines_and_forgets_the_oldest() -> None:
    origin = distance.Origin(58.6, -3.9167)
    assert origin.line_to(58.7, -3.9) == distance.between(58.6, -3.9167, 58.7, -3.9)
    assert origin.line_to(58.7, -3.9) is origin.line_to(58.7, -3.9)
