"""The one table from a data type octet to its reader (APRS101 chapter 5), and the reading of any information at all."""

import re
from collections.abc import Callable

from gateway.reports import message, mic_e, nmea, position, query, status, telemetry, user_defined, weather
from gateway.reports.object import read_item, read_object
from gateway.reports.report import Report, UnknownReport, Unreadable

LONGEST_INFORMATION = 512
"""No longer information can go up, whatever stands before it (IS-Connect): it is not worth the reading."""

DEEPEST_NESTING = 8
"""How many third-party headers are taken off before the rest is given up."""

_THIRD_PARTY = re.compile(rb"\}[^>:]{1,9}>([0-9A-Za-z-]{1,9})(?:,[^:]*)?:")

Reader = Callable[[str, bytes], Report]
"""From the destination and the information to the report; raises `Unreadable`."""


def read(destination: str, information: bytes) -> Report:
    """The report in `information`, a frame's information field; `destination` is the frame's, as text (`APRS`).

    Never raises: what cannot be read is an unknown report that says why. Third-party information is read as the
    report of its innermost frame (APRS101 chapter 17).
    """
    try:
        return _read(destination, information)
    except Unreadable as unreadable:
        return UnknownReport(str(unreadable))


def _read(destination: str, information: bytes) -> Report:
    if not information:
        raise Unreadable("there is no information")
    if len(information) > LONGEST_INFORMATION:
        raise Unreadable("it is longer than the network's longest line")
    if information[0] == _BRACE:
        destination, information = _innermost(information)
    return _READERS[information[0]](destination, information)


def _innermost(information: bytes) -> tuple[str, bytes]:
    """The destination and the information of the innermost of nested third-party frames."""
    for _ in range(DEEPEST_NESTING):
        match = _THIRD_PARTY.match(information)
        if match is None or match.end() == len(information):
            raise Unreadable("no header and information stand behind the mark of third-party traffic")
        information = information[match.end() :]
        if information[0] != _BRACE:
            return match[1].decode(), information
    raise Unreadable("third-party frames are nested too deeply")


_BRACE = ord("}")


def _read_telemetry_or_late_mark(destination: str, information: bytes) -> Report:
    """`T#` is telemetry; any other T may begin the words of a repeater."""
    if information.startswith(b"T#"):
        return telemetry.read(destination, information)
    return position.read_late_mark(destination, information)


def _not_read(because: str) -> Reader:
    """A reader for what the standard names and does not define, or no longer."""

    def read_nothing(_destination: str, _information: bytes) -> Report:
        raise Unreadable(because)

    return read_nothing


_BY_TYPE: dict[bytes, Reader] = {
    b"!": position.read_untimed_or_record,
    b"=": position.read_untimed,
    b"/": position.read_timed,
    b"@": position.read_timed,
    b"`": mic_e.read,
    b"'": mic_e.read,
    b"\x1c": mic_e.read,
    b"\x1d": mic_e.read,
    b"$": nmea.read,
    b"_": weather.read_positionless,
    b";": read_object,
    b")": read_item,
    b":": message.read,
    b">": status.read,
    b"[": status.read_bare_locator,
    b"?": query.read,
    b"<": query.read_capabilities,
    b"T": _read_telemetry_or_late_mark,
    b"{": user_defined.read,
    b"#": _not_read("a weather station's raw record, in an obsolete form"),
    b"*": _not_read("a weather station's raw record, in an obsolete form"),
    b"%": _not_read("a direction finder's raw record, in an obsolete form"),
    b"&": _not_read("map feature: reserved by the standard, and never defined"),
    b"+": _not_read("shelter data: reserved by the standard, and never defined"),
    b".": _not_read("space weather: reserved by the standard, and never defined"),
    b",": _not_read("its sender marks it as invalid or as a test"),
}

_READERS: tuple[Reader, ...] = tuple(_BY_TYPE.get(bytes([octet]), position.read_late_mark) for octet in range(256))
