"""What a comment carries beside words: altitude, a finer position, telemetry, a frequency.

What is read is taken out: the text that is left is the sender's own.
"""

import re
from dataclasses import replace
from math import copysign
from typing import NamedTuple

from gateway.reports import base91, units
from gateway.reports.measured import Telemetry
from gateway.reports.place import Frequency, Position, Written
from gateway.reports.text import clean

EMERGENCY_MARK = b"!EMERGENCY!"
"""In the comment of a station's own position: it calls for help (APRS12, from memory). In upper case exactly."""

_ALTITUDE = re.compile(rb"/A=([0-9]{6}|-[0-9]{5})")
_PRECISION = re.compile(rb"!(?:([A-Z])([0-9]{2}|  )|(w)([!-{]{2}))!")
_TELEMETRY = re.compile(rb"\|((?:[!-{]{2}){2,7})\|(?=(?:" + _PRECISION.pattern + rb")? *$)")
_MEGAHERTZ = rb"([0-9]{3}|[A-O][0-9]{2})\.([0-9]{2,3})"
_FREQUENCY = re.compile(rb"(?<![0-9.])" + _MEGAHERTZ + rb" ?MHz")
_FREQUENCY_IN_NAME = re.compile(_MEGAHERTZ + rb"(?![0-9.])")
_TONE = re.compile(rb" *(?:[TCtc]([0-9]{3,4})|[Dd]([0-7]{3})|(1750)|[TCDtcd]off)(?![0-9A-Za-z])")
_OFFSET = re.compile(rb" *([+-])([0-9]{3})(?![0-9A-Za-z])")
_RANGE = re.compile(rb" *R([0-9]{2})([mk])(?![0-9A-Za-z])")

_BANDS_MHZ = dict(
    zip(
        "ABCDEFGHIJKLMNO",
        (1200, 2300, 2400, 3400, 5600, 5700, 5800, 10100, 10200, 10300, 10400, 10500, 24000, 24100, 24200),
        strict=True,
    )
)
"""What the letter in front of a microwave frequency stands for (APRS12, from memory): A96.000 is 1296."""

_ALL_VALUES = 5
_BITS = 8


class Precision(NamedTuple):
    """One more digit, or two, for each coordinate (APRS12)."""

    datum: str
    latitude_minutes: float
    longitude_minutes: float


class Comment(NamedTuple):
    """A comment taken apart."""

    text: str
    altitude_m: float | None = None
    precision: Precision | None = None
    telemetry: Telemetry | None = None
    frequency: Frequency | None = None


def read(octets: bytes) -> Comment:
    """Take `octets` apart. Telemetry goes first, since its digits can look like any of the others."""
    telemetry = precision = altitude = frequency = None
    if b"|" in octets:
        telemetry, octets = _take_telemetry(octets)
    if b"!" in octets:
        precision, octets = _take_precision(octets)
    if b"/A=" in octets:
        altitude, octets = _take_altitude(octets)
    if b"MHz" in octets:
        frequency, octets = _take_frequency(octets)
    return Comment(clean(octets), altitude, precision, telemetry, frequency)


def refined(position: Position, precision: Precision) -> Position:
    """`position` with the further digits appended: away from the equator and from the prime meridian (0 has a sign).

    A blurred position stays blurred, and a compressed one is finer than these digits: only the datum is kept of them.
    """
    if position.ambiguity != 0 or position.written is Written.COMPRESSED:
        return replace(position, datum=precision.datum)
    latitude = abs(position.latitude) + precision.latitude_minutes / 60
    longitude = abs(position.longitude) + precision.longitude_minutes / 60
    return replace(
        position,
        latitude=copysign(min(latitude, 90.0), position.latitude),
        longitude=copysign(min(longitude, 180.0), position.longitude),
        datum=precision.datum,
    )


def frequency_in_name(name: str, comment: str) -> tuple[Frequency | None, str]:
    """The frequency that an object's name begins with, as those of voice repeaters do (APRS12, from memory).

    Tone, offset and range then stand at the beginning of the comment; what is left of it is given back.
    """
    match = _FREQUENCY_IN_NAME.match(name.encode())
    if match is None:
        return None, comment
    octets = comment.encode()
    frequency, at = _frequency(match, octets, 0)
    return frequency, clean(octets[at:])


def _without(octets: bytes, match: re.Match[bytes]) -> bytes:
    return octets[: match.start()] + octets[match.end() :]


def _take_telemetry(octets: bytes) -> tuple[Telemetry | None, bytes]:
    """`|ss1122334455bb|`: pairs of base-91 digits: sequence, one to five values, and after five the bits, B1 lowest.

    The published note "Base91 Comment Telemetry", 2012. It ends the comment, but that a finer position may follow; the
    code of a Mic-E device, which may too, was taken off before. Anywhere else bars are the sender's own.
    """
    match = _TELEMETRY.search(octets)
    if match is None:
        return None, octets
    digits = match[1]
    numbers = [base91.number(digits[place : place + 2]) for place in range(0, len(digits), 2)]
    bits = None
    if len(numbers) > 1 + _ALL_VALUES:
        bits = f"{numbers[-1] & 0xFF:0{_BITS}b}"[::-1]
    return Telemetry(numbers[0], tuple(numbers[1 : 1 + _ALL_VALUES]), bits), _without(octets, match)


def _take_precision(octets: bytes) -> tuple[Precision | None, bytes]:
    """`!W52!`: thousandths of a minute; `!w:X!`: 91sts of a hundredth of a minute; always five characters (APRS12).

    Other lower-case letters are not taken: they would be words (`!off!`), and no such datum is in use.
    """
    match = _PRECISION.search(octets)
    if match is None:
        return None, octets
    if match[3]:
        north, east = ((digit - base91.FIRST) / base91.BASE / 100 for digit in match[4])
    elif match[2].isdigit():
        north, east = (int(chr(digit)) / 1000 for digit in match[2])
    else:
        north = east = 0.0
    datum = (match[1] or match[3]).decode().upper()
    return Precision(datum, north, east), _without(octets, match)


def _take_altitude(octets: bytes) -> tuple[float | None, bytes]:
    """`/A=001234`: feet, anywhere in the comment (APRS101 chapter 6); below the sea with a minus (common practice)."""
    match = _ALTITUDE.search(octets)
    if match is None:
        return None, octets
    return int(match[1]) * units.METRES_PER_FOOT, _without(octets, match)


def _take_frequency(octets: bytes) -> tuple[Frequency | None, bytes]:
    """`146.940MHz T107 -060 R25m`: frequency, tone, offset in units of 10 kHz, range in miles or km (APRS12)."""
    match = _FREQUENCY.search(octets)
    if match is None:
        return None, octets
    frequency, end = _frequency(match, octets, match.end())
    return frequency, octets[: match.start()] + octets[end:]


def _frequency(match: re.Match[bytes], octets: bytes, at: int) -> tuple[Frequency, int]:
    """The frequency in `match`, with the tone, the offset and the range that may stand at `at`, and where they end.

    `Toff`, `Coff` and `Doff` say that there is no tone. Letters of tones in lower case mean narrow modulation: not told
    apart.
    """
    tone_hz = tone_code = offset = reach = None
    if tone := _TONE.match(octets, at):
        tone_hz = int(tone[1] or tone[3] or 0) or None
        tone_code = tone[2].decode() if tone[2] else None
        at = tone.end()
    if shift := _OFFSET.match(octets, at):
        offset = int(shift[1] + shift[2]) / 100
        at = shift.end()
    if heard := _RANGE.match(octets, at):
        reach = int(heard[1]) * (units.KM_PER_MILE if heard[2] == b"m" else 1.0)
        at = heard.end()
    return Frequency(_megahertz(match[1].decode(), match[2].decode()), offset, tone_hz, tone_code, reach), at


def _megahertz(whole: str, fraction: str) -> float:
    """The number before the point may begin with a letter that stands for a microwave band."""
    if whole.isdigit():
        return float(f"{whole}.{fraction}")
    return _BANDS_MHZ[whole[0]] + float(f"{whole[1:]}.{fraction}")
