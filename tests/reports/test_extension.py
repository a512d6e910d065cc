"""Data extensions: every value that each can take, against the standard's tables."""

import pytest

from gateway.reports import read, to_object

AT_A_PLACE = b"!4903.50N/07201.75W"


def published(information: bytes) -> dict[str, object]:
    return to_object(read("APRS", information))


# APRS101 chapter 7: "The Q (Quality) value"; the widths from memory.
@pytest.mark.parametrize(
    ("quality", "width"),
    [(0, None), (1, 240), (2, 120), (3, 64), (4, 32), (5, 16), (6, 8), (7, 4), (8, 2), (9, 1)],
)
def test_each_quality_of_a_bearing_is_a_width(quality: int, width: int | None) -> None:
    report = published(b"=4903.50N/07201.75W\\088/036/270/72%d" % quality)
    assert report.get("signal_width_deg") == width


@pytest.mark.parametrize(
    ("hits", "share"),
    [(0, None), (1, 12.5), (2, 25.0), (3, 37.5), (4, 50.0), (5, 62.5), (6, 75.0), (7, 87.5), (8, 100.0), (9, None)],
)
def test_each_number_of_hits_is_a_share_of_eight_and_nine_is_by_hand(hits: int, share: float | None) -> None:
    """APRS101 chapter 7."""
    report = published(b"=4903.50N/07201.75W\\088/036/270/%d29" % hits)
    assert report.get("signal_hits_pct") == share
    assert ("signal_range_km" in report) == (hits != 0)


@pytest.mark.parametrize("power_of_two", range(10))
def test_each_range_of_a_signal_is_a_power_of_two_in_miles(power_of_two: int) -> None:
    """APRS101 chapter 7."""
    report = published(b"=4903.50N/07201.75W\\088/036/270/7%d9" % power_of_two)
    assert report["signal_range_km"] == pytest.approx(2**power_of_two * 1.609344, abs=0.005)


@pytest.mark.parametrize(("bearing", "taken"), [(0, True), (360, True), (361, False)])
def test_a_bearing_is_one_that_a_compass_shows(bearing: int, taken: bool) -> None:
    report = published(b"=4903.50N/07201.75W\\088/036/%03d/729" % bearing)
    assert report.get("signal_bearing_deg") == (bearing if taken else None)


# APRS101 chapter 11, from memory: the types and the colours of areas.
SHAPES = [
    "circle", "line-down-right", "ellipse", "triangle", "box",
    "filled-circle", "line-down-left", "filled-ellipse", "filled-triangle", "filled-box",
]  # fmt: skip
COLOURS = [
    "black", "blue", "green", "cyan", "red", "violet", "yellow", "grey",
    "dark black", "dark blue", "dark green", "dark cyan", "dark red", "dark violet", "dark yellow", "dark grey",
]  # fmt: skip


@pytest.mark.parametrize(("number", "shape"), [*enumerate(SHAPES)])
def test_each_number_is_a_shape(number: int, shape: str) -> None:
    assert published(b"!4903.50N\\07201.75Wl%d10/410" % number)["area_shape"] == shape


@pytest.mark.parametrize(("number", "colour"), [*enumerate(COLOURS)])
def test_each_number_is_a_colour(number: int, colour: str) -> None:
    written = b"/%d" % number if number < 10 else b"%d" % number
    assert published(b"!4903.50N\\07201.75Wl010" + written + b"10")["area_colour"] == colour


@pytest.mark.parametrize("area", [b"010/a10", b"0101610", b"010/410{1234}", b"01x/410", b"010/41"])
def test_what_is_no_area_is_words(area: bytes) -> None:
    report = published(b"!4903.50N\\07201.75Wl" + area)
    assert "area_corridor_km" not in report
    assert report["comment"] in {area.decode(), area.decode()[7:]}


def test_an_area_reaches_as_far_as_the_squares_of_its_numbers_say() -> None:
    """APRS101 chapter 11; the divisor 1500 from memory."""
    report = published(b"!4903.50N\\07201.75Wl099/401{7}")
    assert report["area_latitude_span_deg"] == 6.534
    assert report["area_longitude_span_deg"] == 0.00067
    assert report["area_corridor_km"] == 11.27


@pytest.mark.parametrize("power", range(10))
def test_each_power_is_a_square(power: int) -> None:
    """APRS101 chapter 7."""
    assert published(AT_A_PLACE + b"#PHG%d132" % power)["power_w"] == power**2


@pytest.mark.parametrize(("height", "feet"), [(b"%c" % (48 + step), 10 * 2**step) for step in range(25)])
def test_each_height_is_ten_feet_doubled(height: bytes, feet: int) -> None:
    """APRS101 chapter 7: behind 9 the characters go on with `:`; that `H` is the last is ours."""
    for written in (b"#PHG5%b32", b"#DFS5%b32"):
        assert published(AT_A_PLACE + written % height)["antenna_height_m"] == pytest.approx(feet * 0.3048, abs=0.05)


def test_a_height_beyond_the_last_is_words() -> None:
    assert published(AT_A_PLACE + b"#PHG5I32")["comment"] == "PHG5I32"
    assert published(AT_A_PLACE + b"#DFS5I32")["comment"] == "DFS5I32"


@pytest.mark.parametrize("direction", range(9))
def test_each_direction_is_an_eighth_of_the_circle_and_nought_is_all_round(direction: int) -> None:
    """APRS101 chapter 7."""
    for written in (b"#PHG513%d", b"#DFS513%d"):
        assert published(AT_A_PLACE + written % direction).get("antenna_bearing_deg") == (direction * 45 or None)
    assert published(AT_A_PLACE + b"#PHG5139")["comment"] == "PHG5139"


@pytest.mark.parametrize("digit", range(10))
def test_each_gain_and_each_strength_is_its_digit(digit: int) -> None:
    """APRS101 chapter 7."""
    assert published(AT_A_PLACE + b"#PHG51%d2" % digit)["antenna_gain_db"] == digit
    assert published(AT_A_PLACE + b"#DFS%d360" % digit)["signal_strength_s"] == digit


@pytest.mark.parametrize(("written", "beacons"), [(b"0", 0), (b"9", 9), (b"A", 10), (b"Z", 35)])
def test_beacons_an_hour_go_on_with_letters(written: bytes, beacons: int) -> None:
    """APRS11, from memory."""
    assert published(AT_A_PLACE + b"#PHG5132" + written + b"/")["beacons_per_hour"] == beacons


@pytest.mark.parametrize(("course", "read_as"), [(0, None), (1, 1), (359, 359), (360, 360)])
def test_a_course_is_one_that_a_compass_shows_and_nought_is_unknown(course: int, read_as: int | None) -> None:
    """APRS101 chapter 7."""
    assert published(AT_A_PLACE + b">%03d/036" % course).get("course_deg") == read_as


def test_a_course_beyond_the_circle_is_words() -> None:
    assert published(AT_A_PLACE + b">361/036")["comment"] == "361/036"
