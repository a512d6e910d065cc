"""TNC-2 monitor text: one frame a line, `SOURCE>DESTINATION,REPEATER*:information` (common practice)."""

import re
from functools import lru_cache

from gateway.frames.ax25 import MAXIMUM_REPEATERS
from gateway.frames.delimited import DelimitedStream
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.header import (
    REMEMBERED_HEADERS,
    REMEMBERED_PATHS,
    Header,
    Repeater,
    is_plain_text,
    without_ssid_0,
)

MAXIMUM_LINE_OCTETS = 2048
"""The longest line that is taken for a frame: four times what the network takes."""

MAXIMUM_HEADER_OCTETS = 256

_LINE_END = re.compile(rb"[\r\n]")
_CR_TO_LF = bytes.maketrans(b"\r", b"\n")


class HeaderError(ValueError):
    """The text is no header; the message says why, in our own words."""


def read(line: bytes) -> Frame | Damaged:
    """Read one line, without its end. Never raises: what is no frame comes back as `Damaged`."""
    header_text, colon, information = line.partition(b":")
    if not colon:
        return damaged("the line has no colon after its header", line)
    try:
        header = read_header(header_text)
    except HeaderError as error:
        return damaged(str(error), line)
    if len(header.path) > MAXIMUM_REPEATERS:
        return damaged(f"the path has more than {MAXIMUM_REPEATERS} repeaters", line)
    return Frame(header, information)


@lru_cache(maxsize=REMEMBERED_HEADERS)
def read_header(octets: bytes) -> Header:
    """Read the text before the colon. Raises `HeaderError`.

    By common practice only the last used repeater carries the star and all before it count as used; some decoders
    star every one. Both are read. An SSID of 0 is not kept. A callsign need not be a proper one here: the judge asks.
    """
    if len(octets) > MAXIMUM_HEADER_OCTETS:
        raise HeaderError(f"the header is longer than {MAXIMUM_HEADER_OCTETS} octets")
    try:
        text = octets.decode("ascii")
    except UnicodeDecodeError:
        raise HeaderError("the header holds octets above 127") from None
    source, arrow, rest = text.partition(">")
    if not arrow:
        raise HeaderError("the header has no > after its source")
    destination, comma, path = rest.partition(",")
    return Header(_callsign(source), _callsign(destination), _path(path) if comma else ())


@lru_cache(maxsize=REMEMBERED_PATHS)
def _path(text: str) -> tuple[Repeater, ...]:
    entries = text.split(",")
    last_used = max((place for place, entry in enumerate(entries) if entry.endswith("*")), default=-1)
    return tuple(
        Repeater(_callsign(entry.removesuffix("*")), place <= last_used) for place, entry in enumerate(entries)
    )


def _callsign(text: str) -> str:
    if not is_plain_text(text):
        raise HeaderError("a callsign of the header holds what none can")
    return without_ssid_0(text)


def write(frame: Frame) -> bytes:
    """The line of `frame`, without a line end, the last used repeater starred. Cut at the first CR or LF."""
    return b"%b:%b" % (frame.header.network, first_line(frame.information))


def first_line(information: bytes) -> bytes:
    """`information` up to its first CR or LF: nothing after it is ever sent (common practice)."""
    if b"\r" in information or b"\n" in information:
        return _LINE_END.split(information, maxsplit=1)[0]
    return information


class LineDecoder:
    """Takes the bytes of one connection as they come and gives back the lines in them, ended by CR, LF or both.

    Empty lines and comments (`#` first: no callsign begins so) are passed over.
    """

    def __init__(self) -> None:
        self.comments_ignored = 0
        self._stream = DelimitedStream(b"\n", MAXIMUM_LINE_OCTETS, starts_delimited=True)

    def feed(self, data: bytes) -> list[bytes | Damaged]:
        """Take `data`; return the lines that are now complete."""
        lines: list[bytes | Damaged] = []
        for line in self._stream.feed(data.translate(_CR_TO_LF)):
            if len(line) > MAXIMUM_LINE_OCTETS:
                lines.append(damaged(f"no line end within {MAXIMUM_LINE_OCTETS} octets", line))
            elif line.startswith(b"#"):
                self.comments_ignored += 1
            else:
                lines.append(line)
        return lines
