"""What comments carry: precision and telemetry out and back, and words left alone."""

import re
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import Position, PositionReport, read, to_object
from tests.reports import encoders

latitudes = st.floats(-89.9, 89.9, allow_nan=False)
longitudes = st.floats(-179.9, 179.9, allow_nan=False)


def position_of(information: bytes) -> Position:
    position = read("APRS", information).position
    assert position is not None
    return position


@given(latitudes, longitudes)
def test_three_decimals_of_a_minute_come_back(latitude: float, longitude: float) -> None:
    position = position_of(b"!" + encoders.precise(latitude, longitude, "W", words="Hello"))
    assert abs(position.latitude - latitude) <= 0.001 / 60 + 1e-9
    assert abs(position.longitude - longitude) <= 0.001 / 60 + 1e-9


@given(latitudes, longitudes)
def test_base_91_of_a_minute_comes_back_to_a_ninety_first(latitude: float, longitude: float) -> None:
    position = position_of(b"!" + encoders.precise(latitude, longitude, "w") + b"Hello")
    assert abs(position.latitude - latitude) <= 0.01 / 91 / 60 + 1e-9
    assert abs(position.longitude - longitude) <= 0.01 / 91 / 60 + 1e-9


def test_further_digits_lead_away_from_the_equator_even_from_nought_degrees() -> None:
    position = position_of(b"!0000.00S/00000.00W-!W55!")
    assert position.latitude == pytest.approx(-0.005 / 60)
    assert position.longitude == pytest.approx(-0.005 / 60)


def test_further_digits_lead_no_farther_than_the_pole_and_the_date_line() -> None:
    position = position_of(b"!9000.00N/18000.00E-!W99!")
    assert (position.latitude, position.longitude) == (90.0, 180.0)


@given(
    st.integers(0, 8280),
    st.lists(st.integers(0, 8280), min_size=5, max_size=5),
    st.text("01", min_size=8, max_size=8),
    st.integers(1, 5),
)
def test_telemetry_comes_back_from_a_comment(sequence: int, values: list[int], bits: str, how_many: int) -> None:
    sent = values[:how_many]
    sent_bits = bits if how_many == 5 else None
    telemetry = encoders.comment_telemetry(sequence, sent, sent_bits)
    report = read("APRS", b"!4903.50N/07201.75W-Hello" + telemetry)
    expected = {"telemetry_sequence": sequence, "analogue": sent, "comment": "Hello"} | (
        {"digital": bits} if sent_bits else {}
    )
    assert expected.items() <= to_object(report).items()


def test_telemetry_that_looks_like_an_altitude_or_a_precision_is_telemetry() -> None:
    report = read("APRS", b"!4903.50N/07201.75W-Hello|/A=001!W|")
    assert isinstance(report, PositionReport)
    assert report.located.altitude_m is None
    assert report.located.telemetry is not None
    assert report.position is not None
    assert report.position.datum is None


@pytest.mark.parametrize(
    "words",
    ["Ready!", "one | two | three", "/A=high", "call on 145.5 MHz!", "!W5!", "|odd|", "!!!", "A=001234", "146.94 0MHz"],
)
def test_words_that_only_look_like_more_are_left_alone(words: str) -> None:
    report = read("APRS", b"!4903.50N/07201.75W-" + words.encode())
    assert isinstance(report, PositionReport)
    located = report.located
    assert located.comment == words
    assert (located.altitude_m, located.telemetry, located.frequency) == (None, None, None)


@pytest.mark.parametrize(
    ("letter", "megahertz"),
    # APRS12, from memory: the bands that the letters stand for.
    [
        ("A", 1296.0), ("B", 2396.0), ("C", 2496.0), ("D", 3496.0), ("E", 5696.0), ("F", 5796.0), ("G", 5896.0),
        ("H", 10196.0), ("I", 10296.0), ("J", 10396.0), ("K", 10496.0), ("L", 10596.0), ("M", 24096.0),
        ("N", 24196.0), ("O", 24296.0),
    ],
)  # fmt: skip
def test_a_letter_stands_for_a_microwave_band(letter: str, megahertz: float) -> None:
    published = to_object(read("APRS", b"!4903.50N/07201.75Wr" + f"{letter}96.000MHz".encode()))
    assert published["frequency_mhz"] == megahertz


def test_the_documented_tones_are_told_apart_by_their_whole_hertz() -> None:
    text = resources.files("gateway.reports").joinpath("README.md").read_text("utf-8")
    tones = {int(sent): float(exact) for sent, exact in re.findall(r"\| ([0-9]+) \| ([0-9]+\.[0-9])(?= \|)", text)}
    assert len(tones) == 50
    assert all(int(exact) == sent for sent, exact in tones.items())
    assert tones[107] == 107.2


@pytest.mark.parametrize(
    ("altitude", "metres", "comment"),
    [
        ("/A=001234Test", 376.1, "Test"), ("Hi/A=001234,Test", 376.1, "Hi,Test"), ("/A=0012345", 376.1, "5"),
        ("/A=-12345x", -3762.8, "x"), ("/A=00123", None, "/A=00123"), ("/A=-0012", None, "/A=-0012"),
        ("/a=001234", None, "/a=001234"), ("/A=000001/A=000002", 0.3, "/A=000002"),
    ],
)  # fmt: skip
def test_an_altitude_has_six_characters(altitude: str, metres: float | None, comment: str) -> None:
    """APRS101 chapter 6."""
    published = to_object(read("APRS", b"!4903.50N/07201.75W-" + altitude.encode()))
    assert (published.get("altitude_m"), published.get("comment")) == (metres, comment)


# APRS12; which letters a tone can have, and how many digits, from memory.
@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("146.940MHz", {"frequency_mhz": 146.94}),
        ("146.94 MHz", {"frequency_mhz": 146.94}),
        ("146.94MHz", {"frequency_mhz": 146.94}),
        ("146.9405MHz", {"comment": "146.9405MHz"}),
        ("146.9MHz", {"comment": "146.9MHz"}),
        ("1146.940MHz", {"comment": "1146.940MHz"}),
        ("1.146.940MHz", {"comment": "1.146.940MHz"}),
        ("46.940MHz", {"comment": "46.940MHz"}),
        ("P96.000MHz", {"comment": "P96.000MHz"}),
        ("146.940MHz T107", {"frequency_mhz": 146.94, "tone_hz": 107}),
        ("146.940MHz t107", {"frequency_mhz": 146.94, "tone_hz": 107}),
        ("146.940MHz C107", {"frequency_mhz": 146.94, "tone_hz": 107}),
        ("146.940MHz c107", {"frequency_mhz": 146.94, "tone_hz": 107}),
        ("146.940MHz T1750", {"frequency_mhz": 146.94, "tone_hz": 1750}),
        ("146.940MHz T000", {"frequency_mhz": 146.94}),
        ("146.940MHz T10", {"frequency_mhz": 146.94, "comment": "T10"}),
        ("146.940MHz T10755", {"frequency_mhz": 146.94, "comment": "T10755"}),
        ("146.940MHz T107x", {"frequency_mhz": 146.94, "comment": "T107x"}),
        ("146.940MHz D023", {"frequency_mhz": 146.94, "tone_code": "023"}),
        ("146.940MHz d777", {"frequency_mhz": 146.94, "tone_code": "777"}),
        ("146.940MHz D078", {"frequency_mhz": 146.94, "comment": "D078"}),
        ("146.940MHz D02", {"frequency_mhz": 146.94, "comment": "D02"}),
        ("146.940MHz toff", {"frequency_mhz": 146.94}),
        ("146.940MHz doff coffee", {"frequency_mhz": 146.94, "comment": "coffee"}),
        ("146.940MHz  T107   +060  R10k", {"frequency_mhz": 146.94, "tone_hz": 107, "frequency_offset_mhz": 0.6}
         | {"range_km": 10.0}),
        ("146.940MHzT107-060R10k", {"frequency_mhz": 146.94, "tone_hz": 107, "comment": "-060R10k"}),
        ("146.940MHz +500", {"frequency_mhz": 146.94, "frequency_offset_mhz": 5.0}),
        ("146.940MHz -000", {"frequency_mhz": 146.94, "frequency_offset_mhz": 0.0}),
        ("146.940MHz -60", {"frequency_mhz": 146.94, "comment": "-60"}),
        ("146.940MHz -0600", {"frequency_mhz": 146.94, "comment": "-0600"}),
        ("146.940MHz 060", {"frequency_mhz": 146.94, "comment": "060"}),
        ("146.940MHz R25", {"frequency_mhz": 146.94, "comment": "R25"}),
        ("146.940MHz R5m", {"frequency_mhz": 146.94, "comment": "R5m"}),
        ("146.940MHz R025m", {"frequency_mhz": 146.94, "comment": "R025m"}),
        ("146.940MHz R25miles", {"frequency_mhz": 146.94, "comment": "R25miles"}),
        ("Net 146.940MHz T107 daily", {"frequency_mhz": 146.94, "tone_hz": 107, "comment": "Net  daily"}),
    ],
)  # fmt: skip
def test_a_frequency_and_what_follows_it_is_told_from_words(written: str, expected: dict[str, object]) -> None:
    published = to_object(read("APRS", b"!4903.50N/07201.75W-" + written.encode()))
    place = to_object(read("APRS", b"!4903.50N/07201.75W-"))
    assert published == place | expected


# The note "Base91 Comment Telemetry"; that nothing but a finer position may follow is said there.
@pytest.mark.parametrize(
    ("written", "expected"),
    [
        ("|!!!!|", {"telemetry_sequence": 0, "analogue": [0]}),
        ("|{{{{|", {"telemetry_sequence": 8280, "analogue": [8280]}),
        ('|!!!!!!!!!!!"|', {"telemetry_sequence": 0, "analogue": [0, 0, 0, 0, 1]}),
        ('|!!!!!!!!!!!!!"|', {"telemetry_sequence": 0, "analogue": [0, 0, 0, 0, 0], "digital": "10000000"}),
        ("|!!!!!!!!!!!!{{|", {"telemetry_sequence": 0, "analogue": [0, 0, 0, 0, 0], "digital": "00011010"}),
        ("|!!!!!!!!!!!!!!!!|", {"comment": "|!!!!!!!!!!!!!!!!|"}),
        ("|!!|", {"comment": "|!!|"}),
        ("|!!!|", {"comment": "|!!!|"}),
        ("|!! !|", {"comment": "|!! !|"}),
        ("|!!!!|  ", {"telemetry_sequence": 0, "analogue": [0]}),
        ("|!!!!|!W  !", {"telemetry_sequence": 0, "analogue": [0], "datum": "W"}),
        ("|!!!!|!", {"comment": "|!!!!|!"}),
        ("|!!!!|/A=000001", {"comment": "|!!!!|", "altitude_m": 0.3}),
        ('|!!!!|!!"!|', {"comment": "|!!!!", "telemetry_sequence": 0, "analogue": [91]}),
    ],
)
def test_telemetry_in_a_comment_is_its_end(written: str, expected: dict[str, object]) -> None:
    published = to_object(read("APRS", b"!4903.50N/07201.75W-" + written.encode()))
    place = to_object(read("APRS", b"!4903.50N/07201.75W-"))
    assert published == place | expected
