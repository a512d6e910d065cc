"""Plain positions, out and back, and what each must not do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import ObjectReport, PositionReport, UnknownReport, WeatherReport, Written, read
from tests.reports import encoders

latitudes = st.floats(-90, 90, allow_nan=False)
longitudes = st.floats(-180, 180, allow_nan=False)
HALF_A_HUNDREDTH_OF_A_MINUTE = 0.005 / 60


@given(latitudes, longitudes)
def test_a_plain_position_comes_back_to_half_a_hundredth_of_a_minute(latitude: float, longitude: float) -> None:
    position = read("APRS", b"!" + encoders.plain(latitude, longitude)).position
    assert position is not None
    assert position.written is Written.PLAIN_TEXT
    assert abs(position.latitude - latitude) <= HALF_A_HUNDREDTH_OF_A_MINUTE + 1e-9
    assert abs(position.longitude - longitude) <= HALF_A_HUNDREDTH_OF_A_MINUTE + 1e-9


@given(latitudes, longitudes, st.integers(1, 4))
def test_a_blurred_position_is_the_centre_of_a_cell_that_holds_the_true_one(
    latitude: float, longitude: float, blanked: int
) -> None:
    encoded = encoders.plain(latitude, longitude, blanked=blanked)
    report = read("APRS", b"=" + encoded)
    if isinstance(report, UnknownReport):  # at the pole itself the middle of the cell lies beyond it
        assert abs(latitude) > 89.9 or abs(longitude) > 179.9
        return
    position = report.position
    assert position is not None
    assert position.ambiguity == blanked
    assert position.ambiguity_m is not None
    half_a_cell = position.ambiguity_m / 1852 / 60 / 2
    assert abs(position.latitude - latitude) <= half_a_cell + HALF_A_HUNDREDTH_OF_A_MINUTE + 1e-9
    assert abs(position.longitude - longitude) <= half_a_cell + HALF_A_HUNDREDTH_OF_A_MINUTE + 1e-9


@given(latitudes, longitudes, st.integers(1, 360), st.integers(0, 999), st.integers(-9999, 99999))
def test_course_speed_and_altitude_come_back(
    latitude: float, longitude: float, course: int, knots: int, feet: int
) -> None:
    extension = f"{course:03}/{knots:03}/A={feet:06}".encode()
    report = read("APRS", b"@120000h" + encoders.plain(latitude, longitude) + extension)
    assert isinstance(report, PositionReport)
    assert report.located.altitude_m == pytest.approx(feet * 0.3048)
    assert report.located.extension is not None
    assert report.located.comment == ""


@pytest.mark.parametrize(
    ("first", "takes_messages"), [(b"!", False), (b"=", True), (b"/092345z", False), (b"@092345z", True)]
)
@pytest.mark.parametrize("place", [b"4903.50N/07201.75W>", b"/5L!!<*e7>7P["])
def test_each_data_type_takes_either_form_and_says_whether_it_takes_messages(
    first: bytes, takes_messages: bool, place: bytes
) -> None:
    report = read("APRS", first + place)
    assert isinstance(report, PositionReport)
    assert report.takes_messages is takes_messages
    assert (report.time is None) == (len(first) == 1)
    assert report.symbol == "/>"


def test_weather_is_told_by_its_symbol_in_any_table() -> None:
    for table in b"/\\W3":
        report = read("APRS", b"!4903.50N%c07201.75W_220/004t077" % table)
        assert isinstance(report, WeatherReport)
    assert isinstance(read("APRS", b"!4903.50N/07201.75W>220/004t077"), PositionReport)
    assert isinstance(read("APRS", b";BUOY     *092345z4903.50N/07201.75W_220/004t077"), ObjectReport)
