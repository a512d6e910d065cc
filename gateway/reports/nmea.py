"""Sentences of a navigation receiver, passed on as they are (APRS101 chapters 5 and 8; NMEA 0183)."""

import re
from collections.abc import Callable
from dataclasses import replace

from gateway.reports import comment, symbol, units, weather_record
from gateway.reports.moment import ReportMoment
from gateway.reports.place import Movement, Position, Written
from gateway.reports.report import Located, PositionReport, Report, Unreadable
from gateway.reports.text import clean

_SENTENCE = re.compile(rb"\$([A-Z]{2})([A-Z]{3}),([^*]*)(?:\*([0-9A-Fa-f]{2})(.*))?", re.DOTALL)
_MINUTES = rb"([0-5][0-9](?:\.[0-9]{1,9})?|60(?:\.0{1,9})?)"
"""Sixty where a receiver rounded up: the next degree."""
_LATITUDE = re.compile(rb"([0-9]{2})" + _MINUTES)
_LONGITUDE = re.compile(rb"([0-9]{3})" + _MINUTES)
_CLOCK = re.compile(rb"([0-9]{2})([0-9]{2})([0-9]{2})(?:\.[0-9]*)?")
_DATE = re.compile(rb"([0-9]{2})([0-9]{2})([0-9]{2})")
_NUMBER = re.compile(rb"-?(?:[0-9]{1,9}(?:\.[0-9]{0,9})?|\.[0-9]{1,9})")
_FULL_CIRCLE = 360
_FIRST_YEAR = 80
"""Years of two digits from here on are of the last century: the satellites' own calendar begins there."""


def read(destination: str, information: bytes) -> Report:
    """A sentence that gives a place: RMC, GGA, GLL, WPL, or (course and speed alone) VTG. Raises `Unreadable`.

    A checksum that is there must hold; words behind it are the comment. The symbol, which a sentence cannot give, may
    stand in the destination.
    """
    if information.startswith(weather_record.PACKET_MARK):
        return weather_record.read_packet(destination, information)
    match = _SENTENCE.fullmatch(information)
    if match is None:
        raise Unreadable("it is neither a navigation receiver's sentence nor a weather station's record")
    if match[4] is not None and checksum(information[1 : match.end(3)]) != int(match[4], 16):
        raise Unreadable("the sentence's checksum does not hold")
    reader = _READERS.get(match[2])
    if reader is None:
        raise Unreadable("the sentence is of a type that gives no place")
    fields = match[3].rstrip().split(b",")
    if len(fields) < _FEWEST_FIELDS[match[2]]:
        raise Unreadable("the sentence breaks off")
    report = reader(fields, symbol.of_destination(destination))
    return _with_words(report, match[5]) if match[5] else report


def _with_words(report: PositionReport, octets: bytes) -> Report:
    words = comment.read(octets)
    located = replace(
        report.located,
        comment=words.text,
        altitude_m=report.located.altitude_m if words.altitude_m is None else words.altitude_m,
        frequency=words.frequency,
        telemetry=words.telemetry,
    )
    return replace(report, located=located)


def checksum(characters: bytes) -> int:
    """The exclusive or of all characters between `$` and `*` (NMEA 0183)."""
    value = 0
    for character in characters:
        value ^= character
    return value


def _read_rmc(fields: list[bytes], shown_as: str | None) -> PositionReport:
    """Time, status, place, knots, degrees, date."""
    if fields[1] != b"A":
        raise Unreadable("the receiver that made the sentence had no fix")
    movement = _movement(fields[7], fields[6])
    located = Located(_position(fields[2:6]), shown_as, movement)
    return PositionReport(located, _moment(fields[0], fields[8]))


def _read_gga(fields: list[bytes], shown_as: str | None) -> PositionReport:
    """Time, place, quality (0: no fix), satellites, dilution, altitude in metres."""
    if fields[5].strip() in (b"0", b""):
        raise Unreadable("the receiver that made the sentence had no fix")
    altitude_m = _number(fields[8])
    return PositionReport(Located(_position(fields[1:5]), shown_as, None, altitude_m), _moment(fields[0]))


def _read_gll(fields: list[bytes], shown_as: str | None) -> PositionReport:
    """Place, and in newer sentences time and status."""
    if fields[5:6] == [b"V"]:
        raise Unreadable("the receiver that made the sentence had no fix")
    return PositionReport(Located(_position(fields[:4]), shown_as), _moment(*fields[4:5]))


def _read_wpl(fields: list[bytes], shown_as: str | None) -> PositionReport:
    """A waypoint's place and its name. Raw sentences tell of their sender, so that is where it says to be."""
    return PositionReport(Located(_position(fields[:4]), shown_as), name=clean(fields[4]) or None)


def _read_vtg(fields: list[bytes], shown_as: str | None) -> PositionReport:
    """Course over ground, true and magnetic, and speed in knots and in km/h. No place."""
    movement = _movement(fields[0], fields[4])
    if movement is None:
        raise Unreadable("the sentence gives neither course nor speed")
    return PositionReport(Located(None, shown_as, movement))


_READERS: dict[bytes, Callable[[list[bytes], str | None], PositionReport]] = {
    b"RMC": _read_rmc,
    b"GGA": _read_gga,
    b"GLL": _read_gll,
    b"WPL": _read_wpl,
    b"VTG": _read_vtg,
}
_FEWEST_FIELDS = {b"RMC": 9, b"GGA": 9, b"GLL": 4, b"WPL": 5, b"VTG": 5}


def _position(fields: list[bytes]) -> Position:
    """The place in four fields: degrees and minutes, N or S, degrees and minutes, E or W."""
    north, east = _LATITUDE.fullmatch(fields[0]), _LONGITUDE.fullmatch(fields[2])
    if north is None or east is None or fields[1] not in (b"N", b"S") or fields[3] not in (b"E", b"W"):
        raise Unreadable("the sentence gives no place")
    latitude = int(north[1]) + float(north[2]) / 60
    longitude = int(east[1]) + float(east[2]) / 60
    if latitude > 90 or longitude > 180:  # noqa: PLR2004 - the globe's own numbers
        raise Unreadable("the position lies beyond the pole or the date line")
    return Position(
        -latitude if fields[1] == b"S" else latitude,
        -longitude if fields[3] == b"W" else longitude,
        Written.RAW_NMEA,
    )


def _movement(course: bytes, speed: bytes) -> Movement | None:
    degrees, knots = _number(course), _number(speed)
    if degrees is not None and not 0 <= degrees <= _FULL_CIRCLE:
        degrees = None
    if knots is not None and knots < 0:
        knots = None
    if degrees is None and knots is None:
        return None
    return Movement(degrees, None if knots is None else knots * units.KMH_PER_KNOT)


def _number(field: bytes) -> float | None:
    return float(field) if _NUMBER.fullmatch(field) else None


def _moment(clock: bytes = b"", date: bytes = b"") -> ReportMoment | None:
    """When, to the second: fractions say more than any radio's delay allows."""
    match = _CLOCK.fullmatch(clock)
    if match is None:
        return None
    hour, minute, second = (int(group) for group in match.groups())
    if (days := _DATE.fullmatch(date)) is None:
        moment = ReportMoment(hour, minute, second)
    else:
        day, month, year = (int(group) for group in days.groups())
        moment = ReportMoment(hour, minute, second, day, month, year + (1900 if year >= _FIRST_YEAR else 2000))
    return moment if moment.is_possible else None
