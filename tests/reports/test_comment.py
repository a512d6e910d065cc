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
    [("A", 1296.0), ("B", 2396.0), ("D", 3496.0), ("G", 5896.0), ("L", 10596.0), ("M", 24096.0), ("O", 24296.0)],
)
def test_a_letter_stands_for_a_microwave_band(letter: str, megahertz: float) -> None:
    published = to_object(read("APRS", b"!4903.50N/07201.75Wr" + f"{letter}96.000MHz".encode()))
    assert published["frequency_mhz"] == megahertz


def test_the_documented_tones_are_told_apart_by_their_whole_hertz() -> None:
    text = resources.files("gateway.reports").joinpath("README.md").read_text("utf-8")
    tones = {int(sent): float(exact) for sent, exact in re.findall(r"\| ([0-9]+) \| ([0-9]+\.[0-9])(?= \|)", text)}
    assert len(tones) == 50
    assert all(int(exact) == sent for sent, exact in tones.items())
    assert tones[107] == 107.2
