"""Compressed positions, out and back over the whole range."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import Fix, Movement, PositionReport, Range, Written, read
from tests.reports import encoders

latitudes = st.floats(-90, 90, allow_nan=False)
longitudes = st.floats(-180, 180, allow_nan=False)


def located(extra: bytes) -> PositionReport:
    report = read("APRS", b"=" + encoders.compressed(58.6, -3.9167, extra=extra))
    assert isinstance(report, PositionReport)
    return report


@given(
    latitudes, longitudes, st.sampled_from("/\\0123456789ABCXYZ"), st.characters(min_codepoint=33, max_codepoint=126)
)
def test_a_place_comes_back_to_one_step_of_base_91(latitude: float, longitude: float, table: str, code: str) -> None:
    report = read("APRS", b"!" + encoders.compressed(latitude, longitude, table + code))
    assert report.position is not None
    assert report.position.written is Written.COMPRESSED
    assert abs(report.position.latitude - latitude) <= 1 / 380926 + 1e-9
    assert abs(report.position.longitude - longitude) <= 1 / 190463 + 1e-9
    assert report.symbol == table + code


@given(st.integers(0, 89), st.floats(0, 900))
def test_course_and_speed_come_back_to_one_step(quarter: int, knots: float) -> None:
    extension = located(encoders.compressed_movement(quarter * 4, knots)).located.extension
    assert isinstance(extension, Movement)
    assert extension.course_deg == quarter * 4
    assert extension.speed_kmh is not None
    assert (extension.speed_kmh / 1.852 + 1) / (knots + 1) == pytest.approx(1, abs=0.04)


@given(st.floats(2, 2000))
def test_a_range_comes_back_to_one_step(miles: float) -> None:
    extension = located(encoders.compressed_range(miles)).located.extension
    assert isinstance(extension, Range)
    assert extension.range_km / 1.609344 / miles == pytest.approx(1, abs=0.04)


@given(st.floats(1, 1_000_000))
def test_an_altitude_comes_back_to_one_step(feet: float) -> None:
    report = located(encoders.compressed_altitude(feet))
    assert report.located.altitude_m is not None
    assert report.located.altitude_m / 0.3048 / feet == pytest.approx(1, abs=0.0011)
    assert report.located.fix is Fix.CURRENT


@pytest.mark.parametrize(
    ("origin", "fix"), [(b"!", Fix.OLD), (b"@", Fix.OLD), (b"A", Fix.CURRENT), (b"`", Fix.CURRENT), (b"a", None)]
)
def test_bit_five_of_the_type_says_whether_the_fix_is_current(origin: bytes, fix: Fix | None) -> None:
    """Chapter 9: the type is the octet less 33, of six bits; what is larger is none."""
    assert located(b"7P" + origin).located.fix is fix


def test_octets_that_no_base_91_digit_has_say_nothing_more() -> None:
    for extra in (b"\x00P[", b"7\xff[", b"~P[", b"7 ["):
        report = located(extra)
        assert report.located.extension is None
        assert report.located.altitude_m is None


@pytest.mark.parametrize(
    ("north", "east", "on_the_globe"),
    [
        (380926 * 180, 190463 * 360, True),
        (380926 * 180 + 1, 0, False),
        (0, 190463 * 360 + 1, False),
        (0, 0, True),
    ],
)
def test_the_last_steps_of_base_91_lie_beyond_the_globe(north: int, east: int, on_the_globe: bool) -> None:
    """APRS101 chapter 9: the divisors."""
    report = read("APRS", b"!/" + encoders.base91(north, 4) + encoders.base91(east, 4) + b"> sT")
    assert isinstance(report, PositionReport) is on_the_globe


def test_a_compressed_place_has_thirteen_octets() -> None:
    assert isinstance(read("APRS", b"!/5L!!<*e7> sT"), PositionReport)
    assert not isinstance(read("APRS", b"!/5L!!<*e7> s"), PositionReport)
    assert not isinstance(read("APRS", b"!k5L!!<*e7> sT"), PositionReport)
    assert not isinstance(read("APRS", b"!/5L!!<*e7\x7f sT"), PositionReport)
