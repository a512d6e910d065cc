"""Queries, to every station or to one, and what stations answer of their abilities (APRS101 chapter 15)."""

import re

from gateway.reports import units
from gateway.reports.report import CapabilitiesReport, QueryReport, Report, Unreadable
from gateway.reports.text import clean

_GENERAL = re.compile(rb"\?([A-Za-z0-9]{1,9})\?")
_DIRECTED = re.compile(rb"\?(APRS[A-Z]|PING)\??(?![0-9A-Za-z])")
_AREA = re.compile(rb" *(-?[0-9]{1,2}(?:\.[0-9]{1,9})?) *, *(-?[0-9]{1,3}(?:\.[0-9]{1,9})?) *, *([0-9]{1,5})")
_LONGEST_LIST = 64


def read(_destination: str, information: bytes) -> Report:
    """`?WX?`, and perhaps the circle that it asks about: `34.02,-117.15,0200`. Raises `Unreadable`.

    The circle's centre comes in degrees, its radius in miles.
    """
    match = _GENERAL.match(information)
    if match is None:
        raise Unreadable("a query is a word between question marks")
    query, rest = match[1].decode(), information[match.end() :]
    area = _AREA.match(rest)
    if area is None or abs(latitude := float(area[1])) > 90 or abs(longitude := float(area[2])) > 180:  # noqa: PLR2004
        return QueryReport(query, text=clean(rest))
    return QueryReport(query, None, clean(rest[area.end() :]), latitude, longitude, int(area[3]) * units.KM_PER_MILE)


def read_directed(addressee: str, text: bytes) -> QueryReport | None:
    """The query that a message's text is (`?APRSP`, `?PING?`); None where it is words."""
    match = _DIRECTED.match(text)
    if match is None:
        return None
    return QueryReport(match[1].decode(), addressee, clean(text[match.end() :]))


def read_capabilities(_destination: str, information: bytes) -> Report:
    """`<IGATE,MSG_CNT=43,LOC_CNT=14`: names, some with a value. Raises `Unreadable`."""
    capabilities: dict[str, str] = {}
    for token in information[1:].split(b",")[:_LONGEST_LIST]:
        name, _, value = token.partition(b"=")
        if cleaned := clean(name):
            capabilities[cleaned] = clean(value)
    if not capabilities:
        raise Unreadable("no capability is named")
    return CapabilitiesReport(tuple(capabilities.items()))
