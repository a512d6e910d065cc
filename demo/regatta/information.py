"""Writes information fields: every kind of report that the regatta's stations send. Chapters are those of APRS101.

Written for the demo alone and from the standard, not from the gateway's readers: what these make of it checks both.
"""

import functools
import operator
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

COURSE_NORTH = 360
"""Course 0 means that it is not known (chapter 7)."""


@dataclass(frozen=True, slots=True)
class Fix:
    """Where something is and how it moves: WGS 84 degrees, degrees true, knots."""

    latitude: float
    longitude: float
    course_deg: int = COURSE_NORTH
    speed_knots: float = 0.0


def hours_minutes_seconds(moment: datetime) -> str:
    """A time in UTC without its day (chapter 6)."""
    return f"{moment:%H%M%S}h"


def day_hours_minutes(moment: datetime) -> str:
    """A time in UTC with its day (chapter 6)."""
    return f"{moment:%d%H%M}z"


def place(fix: Fix, symbol: str, blanked: int = 0) -> str:
    """Latitude, longitude and symbol in plain text, the last `blanked` digits of each left out (chapters 6 and 8)."""
    latitude = _degrees_minutes(abs(fix.latitude), degree_digits=2)
    longitude = _degrees_minutes(abs(fix.longitude), degree_digits=3)
    north_south = "N" if fix.latitude >= 0 else "S"
    east_west = "E" if fix.longitude >= 0 else "W"
    return f"{_blank(latitude, blanked)}{north_south}{symbol[0]}{_blank(longitude, blanked)}{east_west}{symbol[1]}"


def movement(fix: Fix) -> str:
    """The data extension of course and speed (chapter 7)."""
    return f"{fix.course_deg:03d}/{round(fix.speed_knots):03d}"


def compressed(fix: Fix, symbol: str) -> str:
    """Latitude, longitude, symbol, course and speed in base 91 (chapter 9)."""
    latitude = base91(int(380926 * (90 - fix.latitude)), 4)  # cut, not rounded, as the chapter's example is
    longitude = base91(int(190463 * (180 + fix.longitude)), 4)
    course = base91(fix.course_deg % 360 // 4, 1)
    speed = base91(_speed_step(fix.speed_knots), 1)
    current_fix_by_rmc_from_software = base91(0b111010, 1)
    return f"{symbol[0]}{latitude}{longitude}{symbol[1]}{course}{speed}{current_fix_by_rmc_from_software}"


def mic_e(fix: Fix, symbol: str, message_bits: str, text: str = "") -> tuple[str, str]:
    """Destination and information of a report that is spread over both (chapter 10).

    `message_bits` are the three of a standard message: 111 Off Duty to 000 Emergency.
    """
    degrees, minutes, hundredths = _parts(abs(fix.latitude))
    flags = [*(bit == "1" for bit in message_bits), fix.latitude >= 0]
    degrees_west, minutes_west, hundredths_west = _parts(abs(fix.longitude))
    far = degrees_west < 10 or degrees_west >= 100  # noqa: PLR2004 - the longitude offset of chapter 10
    flags += [far, fix.longitude < 0]
    digits = f"{degrees:02d}{minutes:02d}{hundredths:02d}"
    destination = "".join(chr(ord(digit) + (32 if flag else 0)) for digit, flag in zip(digits, flags, strict=True))
    course, speed = fix.course_deg, round(fix.speed_knots)
    octets = (
        _mic_e_degrees(degrees_west),
        minutes_west + (60 if minutes_west < 10 else 0),  # noqa: PLR2004 - so that it prints, as chapter 10 asks
        hundredths_west,
        speed // 10 + 80,
        speed % 10 * 10 + course // 100 + 4,
        course % 100,
    )
    return destination, "`" + "".join(chr(octet + 28) for octet in octets) + symbol[1] + symbol[0] + text


def mic_e_altitude(metres: int) -> str:
    """An altitude in the text of such a report: base 91, above ten kilometres below the sea (chapter 10)."""
    return base91(metres + 10_000, 3) + "}"


def weather(wind_deg: int, wind_knots: float, celsius: float, hectopascal: float) -> str:
    """What stands after the symbol of a weather station: its wind and the rest of the record (chapter 12)."""
    return f"{wind_deg:03d}/{_mph(wind_knots)}{_weather_fields(wind_knots, celsius, hectopascal)}"


def weather_without_position(
    moment: datetime, wind_deg: int, wind_knots: float, celsius: float, hectopascal: float
) -> str:
    """A whole report of a weather station whose position is known from before (chapter 12)."""
    fields = _weather_fields(wind_knots, celsius, hectopascal)
    return f"_{moment:%m%d%H%M}c{wind_deg:03d}s{_mph(wind_knots)}{fields}"


def recommended_minimum_sentence(moment: datetime, fix: Fix) -> str:
    """A receiver's RMC sentence as it is (chapter 5; the form and its checksum are those of NMEA 0183)."""
    latitude = _degrees_minutes(abs(fix.latitude), degree_digits=2)
    longitude = _degrees_minutes(abs(fix.longitude), degree_digits=3)
    body = (
        f"GPRMC,{moment:%H%M%S},A,{latitude}00,{'N' if fix.latitude >= 0 else 'S'},{longitude}00,"
        f"{'E' if fix.longitude >= 0 else 'W'},{fix.speed_knots:.1f},{fix.course_deg % 360:.1f},{moment:%d%m%y},,"
    )
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}"


def message(addressee: str, text: str, number: str = "") -> str:
    """A message, bulletin or announcement (chapter 14)."""
    return f":{addressee:<9}:{text}" + (f"{{{number}" if number else "")


def telemetry(sequence: int, values: Sequence[int], bits: str) -> str:
    """Five analogue values and eight bits (chapter 13)."""
    return f"T#{sequence % 1000:03d}," + ",".join(f"{value:03d}" for value in values) + f",{bits}"


def telemetry_in_comment(sequence: int, values: Sequence[int]) -> str:
    """The same between two bars in base 91 (the separate published note of 2012)."""
    return "|" + "".join(base91(value, 2) for value in (sequence % 91**2, *values)) + "|"


def base91(value: int, digits: int) -> str:
    """`value` in so many characters of base 91 (chapter 9)."""
    characters = []
    for _ in range(digits):
        value, digit = divmod(value, 91)
        characters.append(chr(digit + 33))
    return "".join(reversed(characters))


def _parts(degrees: float) -> tuple[int, int, int]:
    """Whole degrees, whole minutes, hundredths of a minute."""
    whole_minutes, hundredths = divmod(round(degrees * 6000), 100)
    return *divmod(whole_minutes, 60), hundredths


def _degrees_minutes(degrees: float, degree_digits: int) -> str:
    whole, minutes, hundredths = _parts(degrees)
    return f"{whole:0{degree_digits}d}{minutes:02d}.{hundredths:02d}"


def _blank(text: str, digits: int) -> str:
    """Ambiguity: the last digits give way to spaces, the point stays (chapter 6)."""
    places = [place for place, character in enumerate(text) if character.isdigit()][len(text) - 1 - digits :]
    return "".join(" " if place in places else character for place, character in enumerate(text))


def _mic_e_degrees(degrees: int) -> int:
    if degrees < 10:  # noqa: PLR2004 - the table of longitude degrees of chapter 10, and below
        return degrees + 90
    if degrees >= 110:  # noqa: PLR2004
        return degrees - 100
    return degrees - 20 if degrees >= 100 else degrees  # noqa: PLR2004


def _speed_step(knots: float) -> int:
    """The nearest s for which the speed is 1.08^s - 1 knots (chapter 9)."""
    return min(range(91), key=lambda step: abs(1.08**step - 1 - knots))


def _mph(knots: float) -> str:
    return f"{round(knots * 1.150779):03d}"


def _weather_fields(wind_knots: float, celsius: float, hectopascal: float) -> str:
    gust = _mph(wind_knots * 1.4)
    fahrenheit = round(celsius * 9 / 5 + 32)
    return f"g{gust}t{fahrenheit:03d}r000p000P000h82b{round(hectopascal * 10):05d}"
