"""Weather, out and back, and the letters in any order."""

import random
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import WeatherReport, read, to_object

FIELDS = {
    "g": ("gust_ms", 3, 0.44704),
    "r": ("rain_last_hour_mm", 3, 0.254),
    "p": ("rain_last_day_mm", 3, 0.254),
    "P": ("rain_today_mm", 3, 0.254),
    "L": ("irradiance_wm2", 3, 1),
    "b": ("pressure_hpa", 5, 0.1),
}
"""For each letter: what it becomes, how many digits it has, and the factor (APRS101 chapter 12)."""

OTHERS = ("temperature_c", "humidity_pct", "snow_last_day_mm", "device", "comment")


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


AT_A_PLACE = b"!5836.00N/00355.00W_220/004"
WITHOUT_A_PLACE = b"_10090556c220s004"


def observed(information: bytes) -> dict[str, Any]:
    """What is published of the weather but for the wind, and what is left of the words."""
    published = to_object(read("APRS", information))
    names = {*(name for name, _, _ in FIELDS.values()), *OTHERS}
    return {name: value for name, value in published.items() if name in names}


# Ours, after APRS101 chapter 12, which says nothing of values that are no values.
@pytest.mark.parametrize("beginning", [AT_A_PLACE, WITHOUT_A_PLACE])
@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        # A digit too many, too few, a wrong one: nothing of that field, and on at the next letter.
        (b"h100", {}),
        (b"h100b10138", {"pressure_hpa": 1013.8}),
        (b"h100dU2k", {"device": "dU2k"}),
        (b"t-7r000p000h50b09900", {"rain_last_hour_mm": 0.0, "rain_last_day_mm": 0.0, "humidity_pct": 50}
         | {"pressure_hpa": 990.0}),
        (b"t0770h50", {"humidity_pct": 50}),
        (b"t077.5h50", {"humidity_pct": 50}),
        (b"t7h50", {"humidity_pct": 50}),
        (b"t+07h50", {"humidity_pct": 50}),
        (b"t--7h50", {"humidity_pct": 50}),
        (b"t0x7h50", {"humidity_pct": 50}),
        (b"g0l5h50", {"humidity_pct": 50}),
        (b"tnanh50", {"humidity_pct": 50}),
        (b"tnanrnanh50", {"humidity_pct": 50}),
        (b"h.5b10138", {"pressure_hpa": 1013.8}),
        (b"b0.990h50", {"humidity_pct": 50}),
        (b"b1013h50", {"humidity_pct": 50}),
        (b"r-01h50", {"humidity_pct": 50}),
        (b"t077h5", {"temperature_c": 25.0}),
        # Absent, with as many dots or blanks as one likes, with a letter or without.
        (b"h..b10138", {"pressure_hpa": 1013.8}),
        (b"h.b10138", {"pressure_hpa": 1013.8}),
        (b"h.....b10138", {"pressure_hpa": 1013.8}),
        (b"h b10138", {"pressure_hpa": 1013.8}),
        (b"h     b10138", {"pressure_hpa": 1013.8}),
        (b"...h50", {"humidity_pct": 50}),
        (b" h50", {"humidity_pct": 50}),
        (b"h50......", {"humidity_pct": 50}),
        (b"h50 wRSW", {"humidity_pct": 50, "device": "wRSW"}),
        (b"t...t077", {"temperature_c": 25.0}),
        # Words begin where no field, no device and no end follows.
        (b"t077h50buoy at the point", {"temperature_c": 25.0, "humidity_pct": 50, "comment": "buoy at the point"}),
        (b"t077t050", {"temperature_c": 25.0, "comment": "t050"}),
        (b"h50c4 is here", {"humidity_pct": 50, "comment": "c4 is here"}),
        (b"h50t2o tank", {"humidity_pct": 50, "comment": "t2o tank"}),
        (b"h50s here", {"humidity_pct": 50, "comment": "s here"}),
        (b"h50 V 13.8V", {"humidity_pct": 50, "comment": "V 13.8V"}),
        (b"h50...words", {"humidity_pct": 50, "comment": "...words"}),
        (b"h50P2000 pump", {"humidity_pct": 50, "comment": "P2000 pump"}),
        (b"h50t0x r100", {"humidity_pct": 50, "comment": "t0x r100"}),
        (b"h50---", {"humidity_pct": 50}),
        (b"h--t---b10138", {"pressure_hpa": 1013.8}),
        (b"h50tea at r100", {"humidity_pct": 50, "comment": "tea at r100"}),
    ],
)  # fmt: skip
def test_each_field_is_read_by_itself(beginning: bytes, fields: bytes, expected: dict[str, Any]) -> None:
    assert observed(beginning + fields) == expected


@pytest.mark.parametrize(
    ("wind", "degrees", "metres_a_second"),
    [
        (b"220/004", 220, 1.8),
        (b".../004", None, 1.8),
        (b"   /...", None, None),
        (b"361/004", None, 1.8),
        (b"22x/004", None, 1.8),
        (b"220/00x", 220, None),
        (b"2200/004", None, 1.8),
        (b"220/0045", 220, None),
        (b"360/000", 360, 0.0),
        (b"000/004", 0, 1.8),
        (b"---/---", None, None),
        (b"2/004", None, 1.8),
        (b"220/4", 220, None),
        (b"220/", 220, None),
        (b"/004", None, 1.8),
        (b"20/4", None, None),
    ],
)
def test_a_garbled_half_of_the_wind_takes_nothing_else_with_it(
    wind: bytes, degrees: int | None, metres_a_second: float | None
) -> None:
    """Ours, after APRS101 chapter 12."""
    published = to_object(read("APRS", b"!5836.00N/00355.00W_" + wind + b"g005t077"))
    assert (published["kind"], published.get("wind_deg"), published.get("wind_ms")) == (
        "weather", degrees, metres_a_second,
    )  # fmt: skip
    assert (published["gust_ms"], published["temperature_c"]) == (2.2, 25.0)


@pytest.mark.parametrize("words", ["Harbour office", "Pi/Bat05", "12/Bat05", "c4 is here", "h100", "a/b", "..."])
def test_words_behind_a_weather_station_without_weather_are_a_comment(words: str) -> None:
    published = to_object(read("APRS", b"!5836.00N/00355.00W_" + words.encode()))
    assert (published["kind"], published["comment"]) == ("position", words)


@pytest.mark.parametrize("wind", [b"22000/004", b"220/00444", b"22 /004x", b"220//004", b"/"])
def test_what_is_no_wind_at_all_is_not_taken_for_one(wind: bytes) -> None:
    """Ours: up to one digit too many in either half."""
    published = to_object(read("APRS", b"!5836.00N/00355.00W_" + wind + b"g005t077"))
    assert "gust_ms" not in published
    assert published["kind"] == "position"


@pytest.mark.parametrize("device", ["wDvs", "wHKT", "wPIC", "wRSW", "wU-II", "wUII", "wU2R", "wU2k", "wU5", "wUpkm"])
def test_each_code_that_the_standard_lists_is_told_from_words(device: str) -> None:
    """APRS101 chapter 12."""
    assert observed(AT_A_PLACE + b"h50" + device.encode()) == {"humidity_pct": 50, "device": device}
    for other in (device + "x", device + "1", device[1:], device.lower()):
        assert observed(AT_A_PLACE + b"h50" + other.encode()) == {"humidity_pct": 50, "comment": other}


def test_a_station_that_lacks_everything_is_still_one() -> None:
    assert to_object(read("APRS", b"_10090556c...s...g...t...")) == {"kind": "weather", "time": "--10-09T05:56Z"}


@pytest.mark.parametrize(("sent", "millimetres"), [("s.12", 3.0), ("s1.5", 38.1), ("s12.", None), ("s010", 254.0)])
def test_snow_may_come_in_parts_of_an_inch(sent: str, millimetres: float | None) -> None:
    """Common practice."""
    assert to_object(read("APRS", AT_A_PLACE + sent.encode())).get("snow_last_day_mm") == millimetres


def test_where_no_value_came_before_s_is_the_wind_and_behind_one_snow() -> None:
    assert to_object(read("APRS", b"_10090556s004"))["wind_ms"] == 1.8
    assert to_object(read("APRS", b"_10090556s00xs002"))["snow_last_day_mm"] == 50.8
    assert to_object(read("APRS", AT_A_PLACE + b"s002"))["snow_last_day_mm"] == 50.8
    assert "snow_last_day_mm" not in to_object(read("APRS", AT_A_PLACE + b"s0.15"))


# The order of the numbers: from memory. In tenths of km/h, 256ths of a circle, tenths of °F, tenths of hPa, tenths of a
# per cent, hundredths of an inch.
@pytest.mark.parametrize(
    ("record", "expected"),
    [
        ("$ULTW" + "0064" + "0080" + "0302" + "FFFF" + "2710" + "FFFF" * 3 + "01F4" + "FFFF" * 2 + "0064" + "0032",
         {"gust_ms": 2.8, "wind_deg": 180, "temperature_c": 25.0, "pressure_hpa": 1000.0, "humidity_pct": 50.0,
          "rain_today_mm": 25.4, "wind_ms": 1.4}),
        ("!!" + "0064" + "0080" + "0302" + "FFFF" + "2710" + "02BC" + "01F4" + "0190" + "FFFF" * 2 + "0064" + "0032",
         {"wind_deg": 180, "temperature_c": 25.0, "pressure_hpa": 1000.0, "indoor_temperature_c": 21.1,
          "humidity_pct": 50.0, "indoor_humidity_pct": 40.0, "rain_today_mm": 25.4, "wind_ms": 1.4}),
        ("!!" + "0064" + "0080" + "0302" + "FFFF" + "2710",
         {"wind_deg": 180, "temperature_c": 25.0, "pressure_hpa": 1000.0, "wind_ms": 2.8}),
        ("$ULTW" + "----" * 5, {}),
        ("$ULTW" + "0000" * 5, {"gust_ms": 0.0, "wind_deg": 0, "temperature_c": -17.8}),
    ],
)  # fmt: skip
def test_a_raw_record_is_read_in_its_order(record: str, expected: dict[str, Any]) -> None:
    assert to_object(read("APRS", record.encode())) == {"kind": "weather"} | expected


@pytest.mark.parametrize(
    "record", ["$ULTW003100", "!!zz", "$ULTW" + "0000" * 4, "!!" + "0000" * 4 + "000", "!!" + "---" * 5]
)
def test_a_raw_record_that_breaks_off_is_refused(record: str) -> None:
    assert read("APRS", record.encode()).kind == "unknown"


def test_degrees_below_nought_come_in_twos_complement_in_a_raw_record() -> None:
    report = read("APRS", b"$ULTW00000000FFF6000027100000")
    assert isinstance(report, WeatherReport)
    assert report.located.weather is not None
    assert report.located.weather.temperature_c == pytest.approx((-1.0 - 32) / 1.8)
