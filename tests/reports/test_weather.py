"""Weather, out and back, and the letters in any order."""

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import WeatherReport, read

FIELDS = {
    "g": ("gust_ms", 3, 0.44704),
    "r": ("rain_last_hour_mm", 3, 0.254),
    "p": ("rain_last_day_mm", 3, 0.254),
    "P": ("rain_today_mm", 3, 0.254),
    "L": ("irradiance_wm2", 3, 1),
    "b": ("pressure_hpa", 5, 0.1),
}
"""For each letter: what it becomes, how many digits it has, and the factor (APRS101 chapter 12)."""


@given(st.dictionaries(st.sampled_from([*FIELDS]), st.integers(1, 999)), st.integers(-99, 999), st.randoms())
def test_every_value_comes_back_whatever_the_order(values: dict[str, int], heat: int, chance: random.Random) -> None:
    written = [f"{letter}{value:0{FIELDS[letter][1]}}" for letter, value in values.items()] + [f"t{heat:03}"]
    chance.shuffle(written)
    report = read("APRS", b"!5836.00N/00355.00W_220/004" + "".join(written).encode() + b" Buoy")
    assert isinstance(report, WeatherReport)
    weather = report.located.weather
    assert weather is not None
    assert weather.temperature_c == pytest.approx((heat - 32) / 1.8)
    for letter, (name, _, factor) in FIELDS.items():
        expected = pytest.approx(values[letter] * factor) if letter in values else None
        assert getattr(weather, name) == expected
    assert report.located.comment == "Buoy"


@pytest.mark.parametrize(("humidity", "percent"), [("h00", 100), ("h01", 1), ("h99", 99), ("h..", None)])
def test_nought_percent_stands_for_a_hundred(humidity: str, percent: int | None) -> None:
    report = read("APRS", b"!5836.00N/00355.00W_220/004t077" + humidity.encode())
    assert isinstance(report, WeatherReport)
    assert report.located.weather is not None
    assert report.located.weather.humidity_pct == percent


def test_a_barometer_that_shows_nothing_is_not_there() -> None:
    """Common practice."""
    report = read("APRS", b"!5836.00N/00355.00W_220/004t077b00000")
    assert isinstance(report, WeatherReport)
    assert report.located.weather is not None
    assert report.located.weather.pressure_hpa is None


def test_words_that_begin_like_a_field_stay_words() -> None:
    report = read("APRS", b"!5836.00N/00355.00W_220/004t077h50buoy at the point")
    assert report.prose == "buoy at the point"
    report = read("APRS", b"!5836.00N/00355.00W_220/004t077t077")
    assert report.prose == "t077"


def test_a_raw_record_that_breaks_off_is_refused() -> None:
    assert read("APRS", b"$ULTW003100").kind == "unknown"
    assert read("APRS", b"!!zz").kind == "unknown"


def test_degrees_below_nought_come_in_twos_complement_in_a_raw_record() -> None:
    report = read("APRS", b"$ULTW00000000FFF6000027100000")
    assert isinstance(report, WeatherReport)
    assert report.located.weather is not None
    assert report.located.weather.temperature_c == pytest.approx((-1.0 - 32) / 1.8)
