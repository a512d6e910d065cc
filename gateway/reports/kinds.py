"""What kind of report it is: told from the first octets where these leave no doubt, else by reading all of it.

A policy asks mostly this, of every frame. Nearly all that is on the air has one of the forms below, and whatever
follows them cannot change the kind.
"""

import re

from gateway.reports.reading import LONGEST_INFORMATION, read
from gateway.reports.report import Kind

_TIME = rb"[0-9]{6}[zh/]"
_PLAIN = rb"[0-8][0-9][0-5][0-9]\.[0-9]{2}[NS][!-~](?:0[0-9]{2}|1[0-7][0-9])[0-5][0-9]\.[0-9]{2}[EW]"
_COMPRESSED = rb"[/\\A-Za-j][!-z][!-{]{3}[!-z][!-{]{3}"
"""Their first digits leave the last places out, some of which would lie beyond the globe (APRS101 chapter 9)."""

_PICTURE = rb"[!-?A-^`-~]"
"""A symbol's code behind which neither the weather nor a storm can stand."""

_THREE_MORE = rb".{3}"
_STATION_WITH_WIND = rb"_[0-9]{3}/[0-9]{3}(?![0-9])"
_NO_BULLETIN = rb":(?!BLN|NWS|SKY|BOM)[0-9A-Za-z][ -~]{8}:(?!\?)"

_FORMS: dict[bytes, tuple[tuple[bytes, Kind], ...]] = {
    b"!=": (
        (_PLAIN + _PICTURE, Kind.POSITION),
        (_PLAIN + _STATION_WITH_WIND, Kind.WEATHER),
        (_COMPRESSED + _PICTURE + _THREE_MORE, Kind.POSITION),
    ),
    b"/@": (
        (_TIME + _PLAIN + _PICTURE, Kind.POSITION),
        (_TIME + _PLAIN + _STATION_WITH_WIND, Kind.WEATHER),
        (_TIME + _COMPRESSED + _PICTURE + _THREE_MORE, Kind.POSITION),
    ),
    b":": ((_NO_BULLETIN[1:], Kind.MESSAGE),),
    b">": ((b"", Kind.STATUS),),
}
"""What follows the first octet, and the kind that is then sure."""

_SURE = {
    bytes([first]): tuple((re.compile(b"." + form, re.DOTALL), kind) for form, kind in forms)
    for firsts, forms in _FORMS.items()
    for first in firsts
}

_MIC_E_FIRSTS = frozenset((b"`", b"'"))
_MIC_E_LATITUDE = re.compile(r"[0-8A-IP-X][0-9A-JP-Y][0-5A-FP-U][0-9P-Y]{3}(?![0-9A-Z])")
_MIC_E = re.compile(rb".[\x1c-\x7f][\x1c-\x61][\x1c-\x7f]{4}[!-~]{2}", re.DOTALL)
"""Degrees, minutes and hundredths, speed and course, the symbol (APRS101 chapter 10)."""


def kind_of(destination: str, information: bytes) -> Kind:
    """What `read(destination, information).kind` says, and never anything else."""
    if len(information) <= LONGEST_INFORMATION:
        first = information[:1]
        for form, kind in _SURE.get(first, ()):
            if form.match(information) is not None:
                return kind
        if first in _MIC_E_FIRSTS and _MIC_E_LATITUDE.match(destination) and _MIC_E.match(information):
            return Kind.POSITION
    return read(destination, information).kind
