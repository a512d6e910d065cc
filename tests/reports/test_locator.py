"""Locators, judged by a general locator library (maidenhead) over thousands of generated points."""

import random

import maidenhead
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import locator

HOW_MANY = 4000


def lies_inside(part: float) -> bool:
    """Whether a point at that part of its cell is so far from the edge that the library's rounding cannot move it."""
    return 0.01 < part % 1 < 0.99


def points() -> list[tuple[float, float]]:
    chance = random.Random("locators")
    return [(chance.uniform(-89.99, 89.99), chance.uniform(-179.99, 179.99)) for _ in range(HOW_MANY)]


@pytest.mark.parametrize("characters", [4, 6, 8])
def test_a_locator_is_written_as_the_library_writes_it(characters: int) -> None:
    cell = locator.read("IO91SX00"[:characters])
    inside = [
        (latitude, longitude)
        for latitude, longitude in points()
        if lies_inside((latitude + 90) / cell.height_deg) and lies_inside((longitude + 180) / cell.width_deg)
    ]
    assert len(inside) > HOW_MANY * 0.9
    for latitude, longitude in inside:
        theirs = maidenhead.to_maiden(latitude, longitude, characters // 2)
        assert locator.write(latitude, longitude, characters).lower() == theirs.lower()


@pytest.mark.parametrize("characters", [4, 6, 8])
def test_a_locator_is_read_as_the_library_reads_it(characters: int) -> None:
    for latitude, longitude in points():
        text = locator.write(latitude, longitude, characters)
        theirs = maidenhead.to_location(text, center=True)
        ours = locator.read(text)
        assert (ours.latitude, ours.longitude) == pytest.approx(theirs, abs=1e-9)


@given(st.floats(-90, 90), st.floats(-180, 180), st.sampled_from([4, 6, 8]))
def test_a_point_lies_in_the_cell_that_it_is_written_as(latitude: float, longitude: float, characters: int) -> None:
    cell = locator.read(locator.write(latitude, longitude, characters))
    assert abs(cell.latitude - latitude) <= cell.height_deg / 2 + 1e-9
    assert abs(cell.longitude - longitude) <= cell.width_deg / 2 + 1e-9


def test_the_cells_have_the_sizes_of_the_standard() -> None:
    """IARU: square 2° by 1°, subsquare 5' by 2.5', extended square 0.5' by 0.25'."""
    assert locator.read("IO91")[2:] == (1, 2)
    assert locator.read("IO91SX")[2:] == pytest.approx((2.5 / 60, 5 / 60))
    assert locator.read("IO91SX00")[2:] == pytest.approx((0.25 / 60, 0.5 / 60))


def test_the_corners_of_the_world_have_a_locator() -> None:
    assert locator.write(-90, -180, 8) == "AA00AA00"
    assert locator.write(90, 180, 8) == "RR99XX99"


@pytest.mark.parametrize(
    "text", ["", "IO", "IO9", "IO911", "ZZ00", "IO91YY", "IO91S", "IO91SX0", "IO91SX00AA", "IO91\u212aX", "\u0399O91"]
)
def test_what_is_no_locator_is_refused(text: str) -> None:
    assert not locator.is_locator(text)
    with pytest.raises(ValueError, match="locator"):
        locator.read(text)


@pytest.mark.parametrize(("latitude", "longitude"), [(90.1, 0), (0, -180.1), (0, 180.1), (float("nan"), 0)])
def test_what_is_no_point_is_refused(latitude: float, longitude: float) -> None:
    with pytest.raises(ValueError, match="latitude"):
        locator.write(latitude, longitude)


def test_a_length_that_no_locator_has_is_refused() -> None:
    with pytest.raises(ValueError, match="four, six or eight"):
        locator.write(0, 0, 5)
