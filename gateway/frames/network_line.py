"""The line that goes up: the innermost frame, the q construct and the gate's callsign (IS-Connect, IS-Details)."""

from gateway.frames.frame import Frame
from gateway.frames.header import Header
from gateway.frames.tnc2 import first_line

MAXIMUM_LINE_OCTETS = 512
"""The longest line that the network takes, CR LF included (IS-Connect)."""

LINE_END = b"\r\n"

RECEIVE_ONLY = "qAO"
"""The q construct of a gateway that cannot transmit (IS-Details)."""


def route(gate: str, q_construct: str = RECEIVE_ONLY) -> bytes:
    """What is added to a header on its way up, colon included: `,qAO,QX1GAT-10:`."""
    return f",{q_construct},{gate}:".encode("ascii")


def network_line(frame: Frame, added: bytes) -> bytes:
    """The line of `frame`, CR LF included; `added` comes from `route`. Nothing else is changed (IS-Server)."""
    return line_of(frame.header, first_line(frame.information), added)


def line_of(header: Header, information: bytes, added: bytes) -> bytes:
    """The same for information that ends before its first line end already."""
    return b"".join((header.network, added, information, LINE_END))
