"""The one table from a data type octet to its reader (APRS101 chapter 5), and the reading of any information at all."""

import re
from collections.abc import Callable
from dataclasses import replace

from gateway.reports import message, mic_e, nmea, position, query, status, telemetry, user_defined, weather
from gateway.reports.comment import EMERGENCY_MARK
from gateway.reports.object import read_item, read_object
from gateway.reports.report import PositionReport, Report, UnknownReport, Unreadable, WeatherReport

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
    report: Report
    try:
        destination, information = _innermost(destination, information)
        report = _READERS[information[0]](destination, information)
    except Unreadable as unreadable:
        report = UnknownReport(str(unreadable))
    if mic_e.calls_for_help(destination, information) or EMERGENCY_MARK in information:
        return _as_call_for_help(report, destination, information)
    return report


def is_emergency(destination: str, information: bytes) -> bool:
    """Whether a frame calls for help: what `read(…).is_emergency` says, found without reading nearly every frame.

    Either the message bits of a Mic-E report (APRS101 chapter 10), or `!EMERGENCY!` in the comment of a station's own
    position (APRS12, from memory). Of third-party information the caller passes the innermost.
    """
    if mic_e.calls_for_help(destination, information):
        return True
    return EMERGENCY_MARK in information and read(destination, information).is_emergency


def _as_call_for_help(report: Report, destination: str, information: bytes) -> Report:
    """`report`, whose information calls for help or holds the mark: it counts only where a station tells of itself.

    Not in objects, items and messages, which tell of others or quote. The mark must still stand in the comment when all
    else was read: digits of telemetry can look like it.
    """
    if isinstance(report, PositionReport | UnknownReport) and mic_e.calls_for_help(destination, information):
        return replace(report, emergency=True)
    if isinstance(report, PositionReport) or (isinstance(report, WeatherReport) and report.position is not None):
        return replace(report, emergency=True) if EMERGENCY_MARK.decode() in report.prose else report
    return report


def _innermost(destination: str, information: bytes) -> tuple[str, bytes]:
    """The destination and the information of the innermost of nested third-party frames, the frame itself if none."""
    if not information:
        raise Unreadable("there is no information")
    if len(information) > LONGEST_INFORMATION:
        raise Unreadable("it is longer than the network's longest line")
    for _ in range(DEEPEST_NESTING + 1):
        if information[0] != _BRACE:
            return destination, information
        match = _THIRD_PARTY.match(information)
        if match is None or match.end() == len(information):
            raise Unreadable("no header and information stand behind the mark of third-party traffic")
        destination, information = match[1].decode(), information[match.end() :]
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
    b"_": weather.read,
    b";": read_object,
    b")": read_item,
    b":": message.read,
    b">": status.read,
    b"[": status.read_bare_locator,
    b"?": query.read,
    b"<": query.read_capabilities,
    b"T": _read_telemetry_or_late_mark,
    b"{": user_defined.read,
    b"#": _not_read("a weather station's raw record, of a form that is not read here"),
    b"*": _not_read("a weather station's raw record, of a form that is not read here"),
    b"%": _not_read("a direction finder's raw record, of a form that is not read here"),
    b"&": _not_read("map feature: reserved by the standard, and never defined"),
    b"+": _not_read("shelter data: reserved by the standard, and never defined"),
    b".": _not_read("space weather: reserved by the standard, and never defined"),
    b",": _not_read("its sender marks it as invalid or as a test"),
}

_READERS: tuple[Reader, ...] = tuple(_BY_TYPE.get(bytes([octet]), position.read_late_mark) for octet in range(256))
