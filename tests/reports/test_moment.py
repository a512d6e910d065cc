"""Times: what a clock can show and a calendar hold, where the year or the month may not be known."""

import pytest

from gateway.reports import read, to_object


@pytest.mark.parametrize(
    ("written", "time"),
    # APRS101 chapter 6: month, day, hour, minute. No year: February may have 29 days.
    [
        ("02290000", "--02-29T00:00Z"), ("02300000", None), ("04300000", "--04-30T00:00Z"), ("04310000", None),
        ("01310000", "--01-31T00:00Z"), ("12312359", "--12-31T23:59Z"), ("12320000", None), ("13010000", None),
        ("00010000", None), ("01000000", None), ("01012400", None), ("01012360", None),
    ],
)  # fmt: skip
def test_a_day_is_one_of_its_month(written: str, time: str | None) -> None:
    assert to_object(read("APRS", f"_{written}c220s004".encode())).get("time") == time


@pytest.mark.parametrize(
    ("written", "time"),
    # APRS101 chapter 6: day, hour, minute, of any month.
    [
        ("310000z", "---31T00:00Z"), ("320000z", None), ("000000z", None), ("012359z", "---01T23:59Z"),
        ("012400z", None), ("012360z", None), ("010203/", "---01T02:03"),
        ("000000h", "T00:00:00Z"), ("235959h", "T23:59:59Z"), ("235960h", "T23:59:60Z"), ("235961h", None),
        ("240000h", None), ("236000h", None),
    ],
)  # fmt: skip
def test_a_day_is_one_of_some_month(written: str, time: str | None) -> None:
    published = to_object(read("APRS", f"@{written}4903.50N/07201.75W>".encode()))
    assert published.get("time") == time
    assert "because" not in published
