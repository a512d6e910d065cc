"""Mic-E, out and back over the whole range, and the call for help that every frame is asked for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import Movement, PositionReport, Written, is_emergency, read
from tests.reports import encoders

latitudes = st.floats(-90, 90, allow_nan=False)
longitudes = st.floats(-179.99, 179.99, allow_nan=False)
three_bits = st.sampled_from(["000", "001", "010", "011", "100", "101", "110", "111"])

STANDARD = ["emergency", "priority", "special", "committed", "returning", "in-service", "en-route", "off-duty"]
CUSTOM = ["emergency", "custom-6", "custom-5", "custom-4", "custom-3", "custom-2", "custom-1", "custom-0"]


@given(latitudes, longitudes, st.booleans(), st.integers(0, 799), st.integers(0, 360))
def test_a_place_a_speed_and_a_course_come_back(
    latitude: float, longitude: float, printable: bool, knots: int, course: int
) -> None:
    destination, information = encoders.mic_e(latitude, longitude, knots=knots, course=course, printable=printable)
    report = read(destination, information)
    assert isinstance(report, PositionReport)
    assert report.position is not None
    assert report.position.written is Written.MIC_E
    assert abs(report.position.latitude - latitude) <= 0.005 / 60 + 1e-9
    assert abs(report.position.longitude - longitude) <= 0.005 / 60 + 1e-9
    assert isinstance(report.located.extension, Movement)
    assert report.located.extension.course_deg == (course or None)
    assert report.located.extension.speed_kmh == pytest.approx(knots * 1.852)


def test_every_degree_of_longitude_and_every_minute_comes_back() -> None:
    for degrees in range(180):
        for minute in (0, 1, 9, 10, 11, 59):
            longitude = degrees + minute / 60
            for sign in (1, -1):
                destination, information = encoders.mic_e(10.5, sign * longitude)
                position = read(destination, information).position
                assert position is not None
                assert position.longitude == pytest.approx(sign * longitude)


@given(three_bits, st.booleans())
def test_a_message_comes_back(bits: str, custom: bool) -> None:
    report = read(*encoders.mic_e(33.4, -112.1, bits, custom=custom))
    assert isinstance(report, PositionReport)
    assert report.mic_e is not None
    assert report.mic_e.message_type == (CUSTOM if custom else STANDARD)[int(bits, 2)]


@given(latitudes.filter(lambda latitude: abs(latitude) < 89), longitudes, st.integers(1, 4))
def test_a_blurred_place_is_the_centre_of_a_cell_that_holds_the_true_one(
    latitude: float, longitude: float, blanked: int
) -> None:
    position = read(*encoders.mic_e(latitude, longitude, blanked=blanked)).position
    assert position is not None
    assert position.ambiguity == blanked
    assert position.ambiguity_m is not None
    half_a_cell = position.ambiguity_m / 1852 / 60 / 2
    assert abs(position.latitude - latitude) <= half_a_cell + 0.005 / 60 + 1e-9
    assert abs(position.longitude - longitude) <= half_a_cell + 0.005 / 60 + 1e-9


@given(st.integers(-10_000, 100_000))
def test_an_altitude_comes_back(metres: int) -> None:
    destination, information = encoders.mic_e(33.4, -112.1)
    report = read(destination, information + encoders.base91(metres + 10_000, 3) + b"}")
    assert isinstance(report, PositionReport)
    assert report.located.altitude_m == metres


@given(latitudes, longitudes, three_bits, st.booleans(), st.integers(0, 4))
def test_a_call_for_help_is_the_bits_000_and_nothing_else(
    latitude: float, longitude: float, bits: str, custom: bool, blanked: int
) -> None:
    destination, information = encoders.mic_e(latitude, longitude, bits, custom=custom, blanked=blanked)
    assert is_emergency(destination, information) == (bits == "000")


@given(st.text("0123456789ABCDEFGHIJKLPQRSTUVWXYZ", min_size=5, max_size=7), st.binary(max_size=20))
def test_the_quick_look_and_the_whole_reading_agree_on_a_call_for_help(destination: str, rest: bytes) -> None:
    for first in (b"`", b"'", b"\x1c", b"\x1d", b"!", b">", b""):
        assert is_emergency(destination, first + rest) == read(destination, first + rest).is_emergency
