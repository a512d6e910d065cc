"""Plain positions, out and back, and what each must not do."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import ObjectReport, PositionReport, UnknownReport, WeatherReport, Written, read, to_object
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


# The globe's own numbers; APRS101 chapter 6.
@pytest.mark.parametrize(
    ("place", "latitude", "longitude"),
    [
        (b"9000.00N/18000.00W>", 90.0, -180.0),
        (b"9000.00S/18000.00E>", -90.0, 180.0),
        (b"9000.01N/00000.00E>", None, None),
        (b"0000.00N/18000.01E>", None, None),
        (b"8959.9 S/17959.9 W>", -89.999167, -179.999167),
        (b"9000.0 N/00000.0 E>", None, None),
        (b"0000.0 N/18000.0 E>", None, None),
        (b"0000.0 s/00000.0 w>", -0.000833, -0.000833),
        (b"5959.99n/17959.99e>", 59.999833, 179.999833),
        (b"8960.00N/17960.00W>", 90.0, -180.0),
        (b"9060.00N/17960.00W>", None, None),
        (b"5961.00N/00000.00E>", None, None),
        (b"5960.00N/00060.01E>", None, None),
        (b"5960.  N/00000.  E>", 60.008333, 0.008333),
    ],
)
def test_a_place_is_on_the_globe(place: bytes, latitude: float | None, longitude: float | None) -> None:
    report = to_object(read("APRS", b"!" + place))
    assert (report.get("latitude"), report.get("longitude")) == (latitude, longitude)


@pytest.mark.parametrize(
    ("place", "symbol"),
    [
        (b"0000.00N\\00000.00E.", None),
        (b"0000.00N\\00000.01E.", (0.0, 0.000167)),
        (b"0000.01N\\00000.00E.", (0.000167, 0.0)),
        (b"0000.00N/00000.00E.", (0.0, 0.0)),
    ],
)
def test_only_nought_degrees_with_its_symbol_is_no_place(place: bytes, symbol: tuple[float, float] | None) -> None:
    """APRS101 chapter 6."""
    position = to_object(read("APRS", b"!" + place))
    assert (position.get("latitude"), position.get("longitude")) == (symbol or (None, None))


@pytest.mark.parametrize(
    ("written", "sign", "comment"),
    [
        (b"{5}", "5", None), (b"{55}", "55", None), (b"{5 5}", "5 5", None), (b"{   }", None, None),
        (b"{|~}", "|~", None), (b"{}", None, "{}"), (b"{5555}", None, "{5555}"), (b"{5", None, "{5"),
        (b"5}", None, "5}"), (b"{55}Hello", "55", "Hello"),
    ],
)  # fmt: skip
def test_a_signpost_shows_up_to_three_characters(written: bytes, sign: str | None, comment: str | None) -> None:
    """APRS101 chapter 11."""
    report = to_object(read("APRS", b"!4903.50N\\07201.75Wm" + written))
    assert (report.get("sign"), report.get("comment")) == (sign, comment)
    report = to_object(read("APRS", b"!4903.50N/07201.75W>" + written))
    assert "sign" not in report


@pytest.mark.parametrize(
    ("time", "place", "is_read"),
    [
        (b"092345x", b"4903.50N/07201.75W>", True),
        (b"9999999", b"4903.50N/07201.75W>", True),
        (b"92345z", b"4903.50N/07201.75W>", False),
        (b"0092345z", b"4903.50N/07201.75W>", False),
        (b"\x00\xff!/|{}", b"4903.  N/07201.  W>", True),
        (b"092345x", b"/5L!!<*e7>7P[", True),
        (b"......z", b"/5L!!<*e7>7P[", True),
        (b"      /", b"/5L!!<*e7>7P[", True),
        (b"??????h", b"/5L!!<*e7>7P[", True),
        (b"9999999", b"/5L!!<*e7>7P[", False),
        (b"09234xx", b"/5L!!<*e7>7P[", False),
        (b"#92345z", b"/5L!!<*e7>7P[", False),
        (b"092345x", b"somewhere", False),
    ],
)
def test_a_time_of_unknown_form_leaves_the_place_readable(time: bytes, place: bytes, is_read: bool) -> None:
    """Ours. Any text can look like a compressed position, so before one the octets must resemble a time."""
    for information in (b"@" + time + place, b";BUOY     *" + time + place):
        report = to_object(read("APRS", information))
        assert "time" not in report
        assert report["because"]
        assert (report["kind"] in {"position", "object"}) is is_read
        assert ("latitude" in report) is is_read


def test_an_altitude_in_the_words_goes_before_a_compressed_one() -> None:
    weather = b"=/5L!!<*e7_S]Sg005t077"
    assert to_object(read("APRS", weather))["altitude_m"] == 3049.4
    assert to_object(read("APRS", weather + b"/A=000100"))["altitude_m"] == 30.5
    assert to_object(read("APRS", weather + b"/A=000000"))["altitude_m"] == 0.0


def test_words_that_a_repeater_puts_first_come_first_in_the_comment() -> None:
    report = read("APRS", b"QD1DIG !4903.50N/07201.75W#behind")
    assert (report.prose, report.symbol) == ("QD1DIG behind", "/#")
    assert read("APRS", b"QD1DIG !4903.50N/07201.75W#").prose == "QD1DIG"
