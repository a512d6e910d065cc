"""What a connection speaks that gives no frame: monitor text where KISS is asked for, or the other way round."""

import re
from collections.abc import Callable
from dataclasses import dataclass

from gateway.frames import ax25
from gateway.frames.fcs import strip_fcs
from gateway.frames.frame import Frame
from gateway.frames.kiss import FEND
from gateway.receivers.address import ReceiverAddress, Scheme

LOOKED_AT = 512
"""Octets at the end of what came, at most: a line's header is shorter, and around each frame stands a FEND."""

_HEADER_OF_A_LINE = re.compile(rb"(?:\A|[\r\n])[A-Z0-9]{3,6}(?:-[A-Z0-9]{1,2})?>[A-Z0-9]")


@dataclass(frozen=True, slots=True)
class OtherLanguage:
    """What seems to be spoken, and what the operator can do about it."""

    what: str
    address: str | None
    """The address that would fit; None: no address does."""

    @property
    def do(self) -> str:
        """What would help."""
        if self.address is None:
            return "switch the modem to KISS, or see that its speed is right"
        return f"write {self.address} in the station file, and restart"


def recognise(address: ReceiverAddress, octets: bytes) -> OtherLanguage | None:
    """The language of `octets`, which gave no frame, where it is another than the address says.

    A guess for the operator, and no more: what is heard does not depend on it.
    """
    if address.scheme not in _OTHERS:
        return None
    is_other, what, other = _OTHERS[address.scheme]
    if not is_other(octets):
        return None
    return OtherLanguage(what, None if other is None else f"{other}{address.text[len(address.scheme) :]}")


def _is_text(octets: bytes) -> bool:
    return FEND not in octets and _HEADER_OF_A_LINE.search(octets) is not None


def _is_kiss(octets: bytes) -> bool:
    """C0 stands in no UTF-8 text, and around every frame of KISS."""
    return FEND in octets


def _is_ax25(octets: bytes) -> bool:
    body = strip_fcs(octets)
    return body is not None and isinstance(ax25.read(body), Frame)


_OTHERS: dict[Scheme, tuple[Callable[[bytes], bool], str, Scheme | None]] = {
    Scheme.KISS_TCP: (_is_text, "monitor text", Scheme.TNC2_TCP),
    Scheme.KISS_UNIX: (_is_text, "monitor text", Scheme.TNC2_UNIX),
    Scheme.KISS_SERIAL: (_is_text, "monitor text", None),
    Scheme.TNC2_TCP: (_is_kiss, "KISS", Scheme.KISS_TCP),
    Scheme.TNC2_UNIX: (_is_kiss, "KISS", Scheme.KISS_UNIX),
    Scheme.TNC2_UDP: (_is_ax25, "AX.25 frames", Scheme.AXUDP),
    Scheme.AXUDP: (_is_text, "monitor text", Scheme.TNC2_UDP),
}
"""How the other language is told, what it is called, and its scheme over the same kind of connection, if it has one."""
