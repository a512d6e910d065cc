"""The line that goes up: the frame as it was heard, and the route; nothing else."""

from hypothesis import given

from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.header import Header, Repeater
from gateway.frames.network_line import network_line, route
from tests.frames.strategies import ui_frames

ADDED = route("QX1GAT-10")


def test_a_receive_only_gateway_adds_its_q_construct_and_callsign() -> None:
    # IS-Details: qAO when the gateway cannot transmit. IS-Connect: the line ends CR LF.
    frame = Frame(Header("QA1BCD-9", "APRS", (Repeater("QD1HRB", used=True), Repeater("WIDE2-1"))), b"!x")
    assert network_line(frame, ADDED) == b"QA1BCD-9>APRS,QD1HRB*,WIDE2-1,qAO,QX1GAT-10:!x\r\n"


def test_a_gateway_that_transmits_adds_the_other_q_construct() -> None:
    assert route("QX1GAT-10", "qAR") == b",qAR,QX1GAT-10:"


@given(ui_frames)
def test_information_goes_up_octet_by_octet_up_to_its_first_line_end(frame: Frame) -> None:
    line = network_line(frame, ADDED)
    assert line == frame.header.network + ADDED + tnc2.first_line(frame.information) + b"\r\n"
    assert line.count(b"\r") == line.count(b"\n") == 1


def test_octets_above_127_and_control_characters_are_not_changed() -> None:
    information = bytes(octet for octet in range(256) if octet not in b"\r\n")
    assert network_line(Frame(Header("QA1BCD", "APRS"), information), ADDED).endswith(b":" + information + b"\r\n")
