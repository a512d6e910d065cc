"""What is spoken on a connection or in a datagram: bytes as they come become (KISS port, frame)."""

from collections.abc import Callable
from typing import Protocol

from gateway.frames import ax25, tnc2
from gateway.frames.fcs import strip_fcs
from gateway.frames.frame import Damaged, Frame, damaged
from gateway.frames.kiss import KissDecoder
from gateway.receivers.address import Scheme

PortAndFrame = tuple[int, Frame | Damaged]


class Framing(Protocol):
    """Reads one connection; what is unfinished waits, within bounds, for the next bytes."""

    @property
    def ignored(self) -> int:
        """How much was no frame and no fault, so far."""

    def feed(self, data: bytes) -> list[PortAndFrame]:
        """Take `data`; return the frames that are now complete. Never raises."""


class KissFraming:
    """AX.25 frames in KISS."""

    def __init__(self) -> None:
        self._decoder = KissDecoder()

    @property
    def ignored(self) -> int:
        """Commands: they travel from host to modem only."""
        return self._decoder.commands_ignored

    def feed(self, data: bytes) -> list[PortAndFrame]:
        """Take `data`; return the frames that are now complete."""
        read = ax25.read
        return [
            (port, read(octets) if isinstance(octets, bytes) else octets) for port, octets in self._decoder.feed(data)
        ]


class Tnc2Framing:
    """Lines of monitor text."""

    def __init__(self) -> None:
        self._decoder = tnc2.LineDecoder()

    @property
    def ignored(self) -> int:
        """Comments."""
        return self._decoder.comments_ignored

    def feed(self, data: bytes) -> list[PortAndFrame]:
        """Take `data`; return the frames whose lines are now complete."""
        read = tnc2.read
        return [(0, read(line) if isinstance(line, bytes) else line) for line in self._decoder.feed(data)]


class Tnc2Datagrams(Tnc2Framing):
    """Whole lines of monitor text in each datagram, the last one with or without a line end."""

    def feed(self, data: bytes) -> list[PortAndFrame]:
        """Take one datagram; return all frames in it."""
        return super().feed(data + b"\n")  # nothing of it waits for the next one, which may be another sender's


class Ax25Datagrams:
    """One AX.25 frame with its check sequence in each datagram (RFC 1226; over UDP by common practice)."""

    ignored = 0
    """Every datagram is a frame, or damage."""

    def feed(self, data: bytes) -> list[PortAndFrame]:
        """Take one datagram; return the frame in it."""
        octets = strip_fcs(data)
        return [(0, damaged("the check sequence does not hold", data) if octets is None else ax25.read(octets))]


FRAMINGS: dict[Scheme, Callable[[], Framing]] = {
    Scheme.KISS_TCP: KissFraming,
    Scheme.KISS_UNIX: KissFraming,
    Scheme.KISS_SERIAL: KissFraming,
    Scheme.TNC2_TCP: Tnc2Framing,
    Scheme.TNC2_UNIX: Tnc2Framing,
    Scheme.TNC2_UDP: Tnc2Datagrams,
    Scheme.AXUDP: Ax25Datagrams,
}
