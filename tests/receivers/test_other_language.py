"""A decoder that speaks another language than its address says: what the operator is told to write."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.frames import ax25, tnc2
from gateway.receivers.address import parse
from gateway.receivers.other_language import recognise
from tests.check_sequence import append_fcs
from tests.receivers.listening import frame, in_kiss

LINE = tnc2.write(frame("one")) + b"\r\n"
DATAGRAM = append_fcs(ax25.write(frame("one")))


@pytest.mark.parametrize(
    ("address", "octets", "remedy"),
    [
        ("kiss+tcp://pi.local:7581", LINE, "write tnc2+tcp://pi.local:7581 in the station file, and restart"),
        ("kiss+unix:///run/d", b"half a line\r\n" + LINE, "write tnc2+unix:///run/d in the station file, and restart"),
        ("kiss+serial:///dev/ttyS0", LINE, "switch the modem to KISS, or see that its speed is right"),
        ("tnc2+tcp://pi.local:7581", in_kiss("one"), "write kiss+tcp://pi.local:7581 in the station file, and restart"),
        ("tnc2+unix:///run/d", in_kiss("one"), "write kiss+unix:///run/d in the station file, and restart"),
        ("tnc2+udp://127.0.0.1:7586", DATAGRAM, "write axudp://127.0.0.1:7586 in the station file, and restart"),
        ("axudp://127.0.0.1:7586", LINE, "write tnc2+udp://127.0.0.1:7586 in the station file, and restart"),
    ],
)
def test_the_remedy_is_the_address_to_write(address: str, octets: bytes, remedy: str) -> None:
    found = recognise(parse(address), octets)
    assert found is not None
    assert found.do == remedy


@pytest.mark.parametrize(
    ("address", "octets"),
    [
        ("kiss+tcp://pi.local:7581", in_kiss("one")),
        ("kiss+tcp://pi.local:7581", b"SSH-2.0-server\r\n"),
        ("tnc2+tcp://pi.local:7581", LINE),
        ("tnc2+tcp://pi.local:7581", b"HTTP/1.1 400 Bad Request\r\n"),
        ("tnc2+udp://127.0.0.1:7586", LINE),
        ("axudp://127.0.0.1:7586", DATAGRAM),
        ("file:///capture.jsonl", LINE),
    ],
)
def test_the_right_language_and_an_unknown_one_give_no_hint(address: str, octets: bytes) -> None:
    assert recognise(parse(address), octets) is None


@given(
    st.binary(max_size=600),
    st.sampled_from(["kiss+tcp://h:1", "tnc2+tcp://h:1", "tnc2+udp://[::1]:1", "axudp://[::1]:1"]),
)
def test_nothing_that_comes_is_ever_shown(octets: bytes, address: str) -> None:
    found = recognise(parse(address), octets)
    assert found is None or (found.what in {"KISS", "monitor text", "AX.25 frames"} and "://" in found.do)
