"""Places as people write them, beside a locator library, and said back so that a wrong sign shows."""

import maidenhead
import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames.heard import Place
from gateway.setup.places import read_place, said_back, usual_frequency

WRACKHOLM = Place(58.6, -3.9167)


@pytest.mark.parametrize(
    "text",
    [
        "58.6 -3.9167",
        "58.6, -3.9167",
        "58.6;-3.9167",
        "58,6 -3,9167",
        "58,6; -3,9167",
        "58,6 N 3,9167 W",
        "58.6° -3.9167°",
        "58.6N 3.9167W",
        "58.6 n, 3.9167 w",
        "3.9167W 58.6N",
        "N58.6 W3.9167",
        "58°36'N 3°55.002'W",
        "58 36 N 3 55.002 W",
        "N 58° 36' 0\" W 3° 55' 0.12\"",
        "58°36\u20320\u2033N 3°55\u20320.12\u2033W",
    ],
)
def test_degrees_are_read_however_they_are_written(text: str) -> None:
    place, locator = read_place(text)
    assert (place.latitude, place.longitude) == pytest.approx((58.6, -3.9167), abs=1e-6)
    assert locator is None


@pytest.mark.parametrize("text", ["IO88AO", "io88ao", "IO88", "IO88AO17"])
def test_a_locator_is_read_as_the_library_reads_it(text: str) -> None:
    place, locator = read_place(text)
    assert locator == text.upper()
    assert (place.latitude, place.longitude) == pytest.approx(maidenhead.to_location(text, center=True), abs=1e-3)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "here",
        "58.6",
        "91 0",
        "0 181",
        "58.6N 3.9N",
        "58°60'N 3°W",
        "1 2 3",
        "58.6 -3.9 m",
        "N W",
        "ZZ99AA",
    ],
)
def test_what_is_no_place_is_refused_with_what_would_be_one(text: str) -> None:
    with pytest.raises(ValueError, match=r"no place|latitude|needs one of|degrees|minutes") as refused:
        read_place(text)
    assert str(refused.value).isprintable()


@given(st.text(alphabet="0123456789.,-+ °'\"NSEWabIO", max_size=30))
def test_any_text_is_a_place_on_the_globe_or_an_error_that_helps(text: str) -> None:
    try:
        place, _ = read_place(text)
    except ValueError:
        return
    assert abs(place.latitude) <= 90
    assert abs(place.longitude) <= 180


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (WRACKHOLM, "58.6000 N, 3.9167 W, which is IO88AO: north of the equator, west of Greenwich"),
        (Place(-3.9167, 58.6), "3.9167 S, 58.6000 E, which is LI96HB: south of the equator, east of Greenwich"),
    ],
)
def test_a_place_is_said_back_both_ways_and_with_its_directions(place: Place, said: str) -> None:
    assert said_back(place) == said


@pytest.mark.parametrize(
    ("city", "place", "usual"),
    [
        ("London", Place(51.5, -0.1), "144.800 MHz"),
        ("Cape Town", Place(-33.9, 18.4), "144.800 MHz"),
        ("Chicago", Place(41.9, -87.6), "144.390 MHz"),
        ("Sydney", Place(-33.9, 151.2), "145.175 MHz"),
        ("Wellington", Place(-41.3, 174.8), "144.575 MHz"),
        ("Tokyo", Place(35.7, 139.7), "144.640 or 144.660 MHz"),
        ("Beijing", Place(39.9, 116.4), "144.640 MHz"),
        ("Delhi", Place(28.6, 77.2), None),
        ("the South Pole", Place(-90.0, 0.0), None),
    ],
)
def test_what_is_usual_on_the_air_is_told_where_it_is_known(city: str, place: Place, usual: str | None) -> None:
    """Common practice, as the trade's lists have it; the places of cities from memory."""
    assert usual_frequency(place) == usual, city
