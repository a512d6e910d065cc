"""Mic-E, out and back over the whole range, and the call for help that every frame is asked for."""

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import Movement, PositionReport, Written, is_emergency, read, to_object
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


# APRS101 chapter 10: each octet is a number and 28.
@pytest.mark.parametrize(
    ("place", "octet", "is_read"),
    [
        (1, 27, False), (1, 28, True), (1, 127, True), (1, 128, False),
        (2, 27, False), (2, 28, True), (2, 97, True), (2, 98, False),
        (3, 27, False), (3, 28, True), (3, 127, True), (3, 128, False),
        (4, 27, False), (4, 28, True), (4, 127, True), (4, 128, False),
        (5, 27, False), (5, 28, True), (5, 127, True), (5, 128, False),
        (6, 27, False), (6, 28, True), (6, 127, True), (6, 128, False),
        (7, 32, False), (7, 33, True), (7, 126, True), (7, 127, False), (7, 200, False),
        (8, 32, False), (8, 47, True), (8, 126, True), (8, 127, False),
    ],
)  # fmt: skip
def test_each_octet_has_its_bounds(place: int, octet: int, is_read: bool) -> None:
    information = bytearray(b'`(_fn"Oj/')
    information[place] = octet
    report = read("S32UVT", bytes(information))
    assert isinstance(report, PositionReport) is is_read


@pytest.mark.parametrize(
    ("degrees", "offset", "longitude"),
    # APRS101 chapter 10: 180 to 189 stand for 100 to 109, 190 to 199 for 0 to 9.
    [
        (0, False, 0), (79, False, 79), (99, False, 99), (10, True, 110), (79, True, 179), (80, True, 100),
        (89, True, 109), (90, True, 0), (99, True, 9),
    ],
)  # fmt: skip
def test_degrees_of_longitude_are_told_in_two_digits_and_an_offset(degrees: int, offset: bool, longitude: int) -> None:
    destination = "S32U" + ("P" if offset else "0") + "4"
    position = read(destination, b"`" + bytes([degrees + 28, 60 + 28, 28]) + b'n"Oj/').position
    assert position is not None
    assert position.longitude == longitude


@pytest.mark.parametrize(
    ("knots", "course", "speed_kmh", "course_deg"),
    [
        (0, 0, 0, None), (799, 360, 799, 360), (800, 400, 0, None), (999, 760, 199, 360), (0, 361, 0, None),
        (0, 399, 0, None), (0, 401, 0, 1), (0, 761, 0, None),
    ],
)  # fmt: skip
def test_speed_and_course_may_be_sent_with_an_offset(
    knots: int, course: int, speed_kmh: int, course_deg: int | None
) -> None:
    """APRS101 chapter 10: 800 knots and 400 degrees; course 0 is unknown."""
    both = bytes([knots // 10 + 28, knots % 10 * 10 + course // 100 + 28, course % 100 + 28])
    report = read("S32UVT", b"`(_f" + both + b"j/")
    assert isinstance(report, PositionReport)
    assert report.located.extension == Movement(course_deg, speed_kmh * 1.852)


@pytest.mark.parametrize(
    "destination",
    ["S32UV", "S32UVTA", "S32UVT9", "K32UVT", "S32KVT", "S32UAT", "S32UVA", "s32uvt", "ZZ2UVT", "LL2UVT", "S32U.T", ""],
)
def test_a_destination_that_is_no_latitude_makes_no_report(destination: str) -> None:
    report = to_object(read(destination, b'`(_fn"Oj/'))
    assert report["because"] == "the destination of a Mic-E report is its latitude; this one is none"


@pytest.mark.parametrize("destination", ["S3KUVT", "S3KUVT-1", "S3ZUVZ", "S32ZVT", "S32UZT"])
def test_digits_are_blanked_from_the_right(destination: str) -> None:
    report = to_object(read(destination, b'`(_fn"Oj/'))
    assert report["because"] == "digits of the position are blanked, but not from the right"


@pytest.mark.parametrize(
    ("text", "expected"),
    # Type codes: APRS101 chapter 10 and, with their endings, APRS12, from memory.
    [
        (b'"4T}', {"altitude_m": 61.0}),
        (b'"4T', {"comment": '"4T'}),
        (b'x"4T}', {"comment": 'x"4T}'}),
        (b'>"4T}', {"altitude_m": 61.0, "device": ">"}),
        (b'`"4T}_%', {"altitude_m": 61.0, "device": "`_%"}),
        (b"`Hi_%", {"comment": "Hi", "device": "`_%"}),
        (b"'Hi|3", {"comment": "Hi", "device": "'|3"}),
        (b"'Hi||", {"comment": "Hi||", "device": "'"}),
        (b"`Hi", {"comment": "Hi", "device": "`"}),
        (b" Hi", {"comment": "Hi"}),
        (b' "4T}Hi', {"altitude_m": 61.0, "comment": "Hi"}),
        (b"]Hi=", {"comment": "Hi", "device": "]="}),
        (b">Hi^", {"comment": "Hi", "device": ">^"}),
        (b">Hi&", {"comment": "Hi", "device": ">&"}),
        (b">Hi!", {"comment": "Hi!", "device": ">"}),
        (b"Hi=", {"comment": "Hi="}),
        (b"`1F2E", {"analogue": [31, None, 46]}),
        (b"`1F02A", {"comment": "1F02A", "device": "`"}),
        (b"'0102030405", {"analogue": [1, 2, 3, 4, 5]}),
        (b"'010203040", {"comment": "010203040", "device": "'"}),
        (b"\x1d\x01\x02\x03\x04\x05", {"analogue": [1, 2, 3, 4, 5]}),
        (b"\x1d\x01\x02\x03\x04", {}),
        (b"IO91SX/G", {"locator": "IO91SX"}),
        (b"IO91SX/G Hi", {"locator": "IO91SX", "comment": "Hi"}),
        (b"IO91SX/GHi", {"comment": "IO91SX/GHi"}),
        (b"IO91/G", {"comment": "IO91/G"}),
        (b'"4T}/A=000100', {"altitude_m": 30.5}),
        (b"\x1d\x01\x02\x03\x04\x05|!!!!|", {"telemetry_sequence": 0, "analogue": [0]}),
    ],
)
def test_what_stands_in_the_text_is_told_from_words(text: bytes, expected: dict[str, Any]) -> None:
    example = b'`(_fn"Oj/'
    assert to_object(read("S32UVT", example + text)) == to_object(read("S32UVT", example)) | expected


@pytest.mark.parametrize(
    ("destination", "latitude"), [("Y00PPP", 90.0), ("Y00PPQ", None), ("X9VPPP", 90.0), ("Y10PPP", None)]
)
def test_a_latitude_is_on_the_globe(destination: str, latitude: float | None) -> None:
    assert to_object(read(destination, b'`(_fn"Oj/')).get("latitude") == latitude
