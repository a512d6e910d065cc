"""Mic-E: a position split between the destination address and the information (APRS101 chapter 10).

The destination holds the latitude, a message of three bits, and the signs; the information longitude, speed, course
and symbol in nine octets, and then text.
"""

import re
from dataclasses import replace

from gateway.reports import base91, units
from gateway.reports.comment import EMERGENCY_MARK, refined
from gateway.reports.comment import read as read_comment
from gateway.reports.measured import Telemetry
from gateway.reports.place import Movement, Position, Written
from gateway.reports.position import blur_m, blurred_minutes
from gateway.reports.report import Located, MessageType, MicE, PositionReport, Report, Unreadable
from gateway.reports.symbol import known_symbol
from gateway.reports.text import clean

TYPES = b"`'\x1c\x1d"
"""The first octets of Mic-E information: current and old, and both as the first units sent them."""

FEWEST_OCTETS = 9

_DESTINATION = re.compile(r"[0-9A-JP-Y]{2}[0-9A-LP-Z][0-9LP-Z]{3}(?![0-9A-Z])")
_EMERGENCY = re.compile(r"[0-9]{2}[0-9L][0-9LP-Z]{3}(?![0-9A-Z])")

_DIGITS = str.maketrans("ABCDEFGHIJPQRSTUVWXYKLZ", "01234567890123456789   ")
_BITS = str.maketrans(
    "0123456789LABCDEFGHIJKPQRSTUVWXYZ",
    "0" * 11 + "C" * 11 + "S" * 11,
)
"""The message bit that a character stands for: 0, or 1 of the standard's own messages or of the custom ones."""

_MESSAGES = (
    MessageType.EMERGENCY, MessageType.PRIORITY, MessageType.SPECIAL, MessageType.COMMITTED,
    MessageType.RETURNING, MessageType.IN_SERVICE, MessageType.EN_ROUTE, MessageType.OFF_DUTY,
)  # fmt: skip
_CUSTOM_MESSAGES = (
    MessageType.EMERGENCY, MessageType.CUSTOM_6, MessageType.CUSTOM_5, MessageType.CUSTOM_4,
    MessageType.CUSTOM_3, MessageType.CUSTOM_2, MessageType.CUSTOM_1, MessageType.CUSTOM_0,
)  # fmt: skip


def _messages() -> dict[str, MicE]:
    """What each of the 27 mixtures of bits says. Standard and custom ones together mean nothing known."""
    said: dict[str, MicE] = {}
    for bits in (first + second + third for first in "0CS" for second in "0CS" for third in "0CS"):
        number = int(bits.replace("C", "1").replace("S", "1"), 2)
        if "C" in bits and "S" in bits:
            said[bits] = MicE(MessageType.UNKNOWN)
        else:
            message = (_CUSTOM_MESSAGES if "C" in bits else _MESSAGES)[number]
            said[bits] = MicE(message)
    return said


_SAID = _messages()

_SET = "P"
"""From this character on a destination's fourth to sixth say north, a hundred degrees more, and west."""

_OFFSET = 28
"""What is added to a number to make it an octet that can be printed, or nearly."""
_LARGEST_MINUTES = 69
_LARGEST = 99

_SIXTY_MINUTES = 60_00
"""In hundredths: trackers that round send it for the next degree."""

_LOWEST_M = -10_000
_ALTITUDE = re.compile(rb"([!-{]{3})\}")
_LOCATOR = re.compile(rb"([A-R]{2}[0-9]{2}[A-X]{2})/G(?: |$)")
_MARKED_DEVICE = re.compile(rb"([`'])(.*)([_(|^*:~\[\\][^|])", re.DOTALL)
_LETTERED_DEVICE = re.compile(rb"([>\]])(.*?)([=^&]?)", re.DOTALL)
_TWO_VALUES = re.compile(rb"`([0-9A-F]{2})([0-9A-F]{2})(?![0-9A-F}])")
_FIVE_VALUES = re.compile(rb"'" + rb"([0-9A-F]{2})" * 5)
_LENGTH_OF_FIVE_OCTETS = 6


_FIRST_OCTETS = frozenset(TYPES[place : place + 1] for place in range(len(TYPES)))


def calls_for_help(destination: str, information: bytes) -> bool:
    """Whether a frame is a Mic-E report whose three message bits are 0 (APRS101 chapter 10), or whose text says so.

    Asked of every frame, so the information's first octet is looked at first. The place beside it need not be readable:
    a set without a fix may still call.
    """
    if information[:1] not in _FIRST_OCTETS or len(information) < FEWEST_OCTETS:
        return False
    if _EMERGENCY.match(destination) is not None:
        return True
    return information.find(EMERGENCY_MARK, FEWEST_OCTETS) >= 0 and _DESTINATION.match(destination) is not None


def read(destination: str, information: bytes) -> Report:
    """The report that `destination` and `information` make together. Raises `Unreadable`."""
    if len(information) < FEWEST_OCTETS:
        raise Unreadable("a Mic-E report is nine octets long at least")
    if _DESTINATION.match(destination) is None:
        raise Unreadable("the destination of a Mic-E report is its latitude; this one is none")
    said = _SAID[destination[:3].translate(_BITS)]
    position = _position(destination, information)
    movement = _movement(information)
    symbol, because = known_symbol(_symbol(information))
    located = Located(position, symbol, movement, because=because)
    return _with_text(information[FEWEST_OCTETS:], position, located, said)


def _position(destination: str, information: bytes) -> Position:
    digits = destination[:6].translate(_DIGITS)
    degrees, minutes, hundredths = (octet - _OFFSET for octet in information[1:4])
    if not (0 <= degrees <= _LARGEST and 0 <= minutes <= _LARGEST_MINUTES and 0 <= hundredths <= _LARGEST):
        raise Unreadable("the longitude of the Mic-E report is none")
    if destination[4] >= _SET:
        degrees += 100
    if degrees >= 190:  # noqa: PLR2004 - 190 to 199 stand for 0 to 9
        degrees -= 190
    elif degrees >= 180:  # noqa: PLR2004 - 180 to 189 stand for 100 to 109
        degrees -= 80
    minutes %= 60
    ambiguity = len(digits) - len(digits.rstrip())
    if " " in digits.rstrip():
        raise Unreadable("digits of the position are blanked, but not from the right")
    minutes_north = blurred_minutes(digits[2:].encode(), ambiguity)
    minutes_east = blurred_minutes(b"%02d%02d" % (minutes, hundredths), ambiguity)
    latitude = int(digits[:2]) + minutes_north / 60
    if latitude > 90 or int(digits[2:].replace(" ", "0")) > _SIXTY_MINUTES:  # noqa: PLR2004 - the globe's own number
        raise Unreadable("the latitude of the Mic-E report is none")
    longitude = degrees + minutes_east / 60
    return Position(
        latitude if destination[3] >= _SET else -latitude,
        -longitude if destination[5] >= _SET else longitude,
        Written.MIC_E,
        ambiguity,
        blur_m(ambiguity),
    )


def _movement(information: bytes) -> Movement:
    """Speed in tens of knots, then its units and the hundreds of the course in one octet, then the rest of the course.

    Senders may add 800 knots and 400 degrees to keep the octets printable. Course 0 is unknown, 360 is north.
    """
    tens, both, ones = (octet - _OFFSET for octet in information[4:7])
    if min(tens, both, ones) < 0 or max(tens, both, ones) > _LARGEST:
        raise Unreadable("the speed or the course of the Mic-E report is none")
    units_of_speed, hundreds = divmod(both, 10)
    knots, course = tens * 10 + units_of_speed, hundreds * 100 + ones
    if knots >= 800:  # noqa: PLR2004
        knots -= 800
    if course >= 400:  # noqa: PLR2004
        course -= 400
    return Movement(course if 0 < course <= 360 else None, knots * units.KMH_PER_KNOT)  # noqa: PLR2004


def _symbol(information: bytes) -> str:
    symbol = (information[8:9] + information[7:8]).decode("latin-1")
    if not (symbol.isascii() and symbol.isprintable() and " " not in symbol):
        raise Unreadable("the symbol of the Mic-E report is none")
    return symbol


def _with_text(text: bytes, position: Position, located: Located, said: MicE) -> Report:
    """The report with the text behind its nine octets: device codes, telemetry, altitude, locator, and then words."""
    altitude_m, text = _take_altitude(text)
    device: str | None = None
    telemetry: Telemetry | None = None
    if altitude_m is None:
        device, text = _take_device(text)
        if device is None:
            telemetry, text = _take_telemetry(text)
        if device is None and text[:1] in (b"`", b"'", b" "):
            device, text = clean(text[:1]) or None, text[1:]
        altitude_m, text = _take_altitude(text)
    if square := _LOCATOR.match(text):
        said = replace(said, locator=square[1].decode())
        text = text[square.end() :]
    words, altitude_in_words_m, precision, telemetry_in_words, frequency = read_comment(text)
    if precision is not None:
        position = refined(position, precision)
    located = replace(
        located,
        position=position,
        altitude_m=altitude_m if altitude_in_words_m is None else altitude_in_words_m,
        comment=words,
        frequency=frequency,
        telemetry=telemetry_in_words or telemetry,
        device=device,
    )
    return PositionReport(located, mic_e=said)


def _take_altitude(text: bytes) -> tuple[float | None, bytes]:
    """`"4T}`: metres above 10,000 below the sea, in base 91.

    Asked before the device's codes and again behind them: above 39 km the first digit looks like one of the codes.
    """
    match = _ALTITUDE.match(text)
    if match is None:
        return None, text
    return float(base91.number(match[1]) + _LOWEST_M), text[match.end() :]


def _take_device(text: bytes) -> tuple[str | None, bytes]:
    """The codes around the text that say what device it comes from, as sent, and the text between them.

    `>` or `]` before it and perhaps one character after it, or a mark before it and two characters after it (APRS12,
    from memory). The two are told from words by the first of them, which none ends with.
    """
    if match := _LETTERED_DEVICE.fullmatch(text) or _MARKED_DEVICE.fullmatch(text):
        return clean(match[1] + match[3]) or None, match[2]
    return None, text


def _take_telemetry(text: bytes) -> tuple[Telemetry | None, bytes]:
    """Channels 1 and 3, or all five, in hexadecimal or as octets, behind one of the three flags.

    The marks have since become those of devices: text that ends as a device's does was taken for one before.
    """
    if match := _TWO_VALUES.match(text):
        return Telemetry(None, (int(match[1], 16), None, int(match[2], 16))), text[match.end() :]
    if match := _FIVE_VALUES.match(text):
        return Telemetry(None, tuple(int(group, 16) for group in match.groups())), text[match.end() :]
    if text[:1] == b"\x1d" and len(text) >= _LENGTH_OF_FIVE_OCTETS:
        return Telemetry(None, tuple(text[1:_LENGTH_OF_FIVE_OCTETS])), text[_LENGTH_OF_FIVE_OCTETS:]
    return None, text
