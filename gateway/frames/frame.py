"""The one value that every reader makes: a frame, or the damage that stood in its place."""

from dataclasses import dataclass

from gateway.frames.header import Header

UI = 0x03
"""Control octet of an unnumbered information frame, poll bit clear (AX.25 section 4.3.3.6)."""

NO_LAYER_3 = 0xF0
"""Protocol identifier: no layer 3 protocol (AX.25 section 3.4)."""


@dataclass(frozen=True, slots=True)
class Frame:
    """A frame as it was heard. The information field is bytes and stays bytes (IS-Server: data unchanged)."""

    header: Header
    information: bytes
    control: int = UI
    pid: int | None = NO_LAYER_3
    """None where the kind of frame has no protocol identifier (AX.25 section 3.4)."""

    @property
    def source(self) -> str:
        """Callsign of the sender, SSID 0 not written."""
        return self.header.source

    @property
    def destination(self) -> str:
        """Destination address: in this network a software or group identifier, or half of a Mic-E report."""
        return self.header.destination


@dataclass(frozen=True, slots=True)
class Damaged:
    """Something came from a decoder that is no frame. It is shown and counted, never sent up."""

    because: str
    """In plain words, our own: never text from the air."""

    octets: bytes
    """What came, cut to `MAXIMUM_DAMAGED_OCTETS`."""


MAXIMUM_DAMAGED_OCTETS = 512


def damaged(because: str, octets: bytes) -> Damaged:
    """A `Damaged` that keeps no more of the octets than it may."""
    return Damaged(because, octets[:MAXIMUM_DAMAGED_OCTETS])
