"""Places in and out of areas. Distances are checked against pyproj (PROJ's geodesics), not against our own."""

import pyproj
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.alerts.area import Circle, Polygon

_GEODESIC = pyproj.Geod(ellps="WGS84")


@given(st.floats(-89, 89), st.floats(-180, 180), st.floats(0.1, 500), st.floats(0, 360), st.floats(0, 3))
def test_a_circle_holds_what_is_no_farther_than_its_radius(
    latitude: float, longitude: float, radius_km: float, bearing: float, times: float
) -> None:
    east, north, _ = _GEODESIC.fwd(longitude, latitude, bearing, radius_km * times * 1000)
    if abs(times - 1) > 1e-6:
        assert Circle(latitude, longitude, radius_km).holds(north, east) is (times < 1)


HARBOUR = [(58.60, -3.92), (58.60, -3.90), (58.61, -3.90), (58.61, -3.92)]
HOOK = [(0.0, 0.0), (0.0, 3.0), (3.0, 3.0), (3.0, 2.0), (1.0, 2.0), (1.0, 1.0), (3.0, 1.0), (3.0, 0.0)]
"""A square with a bay in its north side."""


@pytest.mark.parametrize(
    ("corners", "place", "within"),
    [
        (HARBOUR, (58.605, -3.91), True),
        (HARBOUR, (58.605, -3.93), False),
        (HARBOUR, (58.605, -3.89), False),
        (HARBOUR, (58.615, -3.91), False),
        (HARBOUR, (58.595, -3.91), False),
        (HOOK, (0.5, 1.5), True),
        (HOOK, (2.0, 0.5), True),
        (HOOK, (2.0, 1.5), False),
        (HOOK, (2.0, 2.5), True),
    ],
)
def test_a_polygon_holds_what_its_sides_enclose(
    corners: list[tuple[float, float]], place: tuple[float, float], *, within: bool
) -> None:
    assert Polygon(corners).holds(*place) is within
    assert Polygon(corners[::-1]).holds(*place) is within


def test_a_polygon_may_lie_across_the_180th_meridian() -> None:
    fiji = Polygon([(-20, 177), (-20, -178), (-15, -178), (-15, 177)])
    assert fiji.holds(-17, 178)
    assert fiji.holds(-17, 180)
    assert fiji.holds(-17, -180)
    assert fiji.holds(-17, -179)
    assert not fiji.holds(-17, -177)
    assert not fiji.holds(-17, 0)


@given(
    st.lists(st.tuples(st.floats(-60, 60), st.floats(-60, 60)), min_size=3, max_size=12),
    st.floats(-80, 80),
    st.floats(-80, 80),
    st.floats(-180, 180),
)
def test_a_polygon_is_the_same_wherever_around_the_earth_it_lies(
    corners: list[tuple[float, float]], latitude: float, longitude: float, turn: float
) -> None:
    def turned(east: float) -> float:
        return (east + turn + 180) % 360 - 180

    sure = all(abs(longitude - east) > 1e-6 for _, east in corners) and all(
        abs(latitude - north) > 1e-6 for north, _ in corners
    )
    moved = Polygon([(north, turned(east)) for north, east in corners])
    crossings = [_crossing(a, b, latitude) for a, b in zip(corners, [*corners[1:], corners[0]], strict=True)]
    if sure and all(crossing is None or abs(crossing - longitude) > 1e-6 for crossing in crossings):
        assert moved.holds(latitude, turned(longitude)) is Polygon(corners).holds(latitude, longitude)


def _crossing(a: tuple[float, float], b: tuple[float, float], latitude: float) -> float | None:
    if (a[0] > latitude) == (b[0] > latitude):
        return None
    return a[1] + (latitude - a[0]) / (b[0] - a[0]) * (b[1] - a[1])
