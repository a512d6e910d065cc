"""Status texts, and the beacons of a bare locator that they replaced (APRS101 chapters 8 and 16)."""

import re

from gateway.reports.moment import TIME_OCTETS, read_time
from gateway.reports.report import Report, StatusReport, Unreadable
from gateway.reports.text import clean

_TIME = re.compile(rb"[0-9]{6}z")
_LOCATED = re.compile(rb"([A-R]{2}[0-9]{2}(?:[A-Xa-x]{2}|(?![A-Xa-x]{2})))([/\\0-9A-Z][!-~])(?: |$)")
"""A locator of four is never followed by an overlay and a symbol that are both letters: they make it one of six."""

_BEAM = re.compile(rb"(.*)\^([0-9A-Z])([0-Z])$", re.DOTALL)
_BARE = re.compile(rb"\[([A-R]{2}[0-9]{2}(?:[A-Xa-x]{2})?)\]")


def read(_destination: str, information: bytes) -> Report:
    """`>` and a text, perhaps behind a time (UTC) or a locator with its symbol, but not both. Never unreadable."""
    octets, time = information[1:], None
    if _TIME.match(octets):
        time = read_time(octets, 0)
        octets = octets[TIME_OCTETS:]
    locator = symbol = None
    if time is None and (located := _LOCATED.match(octets)):
        locator, symbol = located[1].decode(), located[2].decode()
        octets = octets[located.end() :]
    bearing, power, octets = _take_beam(octets)
    return StatusReport(clean(octets), time, locator, symbol, bearing, power)


def _take_beam(octets: bytes) -> tuple[int | None, int | None, bytes]:
    """The last three characters, where they say how a meteor-scatter beam stands: `^B7`.

    Bearing in tens of degrees, A for ten and Z for 35; then the radiated power, 10·n² watts, n counted from `0` on
    through the characters behind the digits. A power of nothing is no beam.
    """
    match = _BEAM.match(octets)
    if match is None:
        return None, None, octets
    bearing, power = int(match[2], 36) * 10, 10 * (match[3][0] - ord("0")) ** 2
    if power == 0:
        return None, None, octets
    return bearing, power, match[1]


def read_bare_locator(_destination: str, information: bytes) -> Report:
    """`[IO91SX]` and a text: obsolete, read as the status with a locator that took its place. Raises `Unreadable`."""
    match = _BARE.match(information)
    if match is None:
        raise Unreadable("no locator stands in the brackets")
    return StatusReport(clean(information[match.end() :]), locator=match[1].decode())
