"""Objects and items: things that a station puts on the map and takes off again (APRS101 chapter 11)."""

import re
from dataclasses import replace

from gateway.reports.comment import frequency_in_name
from gateway.reports.position import read_located, read_timed_place
from gateway.reports.report import ItemReport, ObjectReport, Report, Unreadable
from gateway.reports.text import clean

_OBJECT = re.compile(rb";(.{9})([*_])", re.DOTALL)
_ITEM = re.compile(rb"\)([^!_]{3,9})([!_])")
_KILLED = b"_"


def read_object(_destination: str, information: bytes) -> Report:
    """`;`, a name of nine characters, `*` or `_` for live or killed, a time, a place. Raises `Unreadable`."""
    match = _OBJECT.match(information)
    if match is None:
        raise Unreadable("an object has a name of nine characters, and * or _ after it")
    name = _name(match[1])
    located, time = read_timed_place(information, match.end())
    if located.frequency is None:
        frequency, comment = frequency_in_name(name, located.comment)
        located = replace(located, frequency=frequency, comment=comment)
    return ObjectReport(located, time, name, match[2] != _KILLED)


def read_item(_destination: str, information: bytes) -> Report:
    """`)`, a name of three to nine characters, `!` or `_` for live or killed, a place. Raises `Unreadable`."""
    match = _ITEM.match(information)
    if match is None:
        raise Unreadable("an item has a name of three to nine characters, and ! or _ after it")
    name = _name(match[1])
    return ItemReport(read_located(information, match.end()), None, name, match[2] != _KILLED)


def _name(octets: bytes) -> str:
    name = clean(octets)
    if not name:
        raise Unreadable("its name is blank")
    return name
