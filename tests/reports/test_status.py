"""Statuses: beams in every direction and with every power."""

import string

import pytest

from gateway.reports import read, to_object

DIGITS = string.digits + string.ascii_uppercase


# APRS101 chapter 16: the table of headings and the table of radiated powers.
@pytest.mark.parametrize(("written", "degrees"), [(digit, place * 10) for place, digit in enumerate(DIGITS)])
def test_each_heading_is_so_many_tens_of_degrees(written: str, degrees: int) -> None:
    assert to_object(read("APRS", f">IO91SX/- ^{written}7".encode()))["antenna_bearing_deg"] == degrees


@pytest.mark.parametrize(("written", "watts"), [(chr(48 + step), 10 * step**2) for step in range(1, 43)])
def test_each_power_is_ten_times_a_square(written: str, watts: int) -> None:
    assert to_object(read("APRS", f">IO91SX/- ^B{written}".encode()))["power_w"] == watts


@pytest.mark.parametrize("beam", ["^B0", "^b7", "^B[", "^B/", "^B7 ", "^B", "B7"])
def test_what_is_no_beam_is_words(beam: str) -> None:
    report = to_object(read("APRS", f">Home {beam}".encode()))
    assert report["text"] == f"Home {beam}".strip()
    assert "power_w" not in report
