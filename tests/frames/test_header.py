"""Headers, the texts of them, and what the network takes for a callsign."""

import pytest
from hypothesis import given

from gateway.frames.frame import Frame
from gateway.frames.header import Header, Repeater, base_of, header_of, is_network_callsign, is_plain_text
from tests.frames.strategies import any_frames

USED = Repeater("QD1HRB", used=True)
UNUSED = Repeater("WIDE2-1")


def test_the_plain_text_stars_every_used_repeater_and_the_network_text_the_last_one_only() -> None:
    header = Header("QA1BCD-9", "APRS", (USED, Repeater("QD1HDL", used=True), UNUSED))
    assert header.text == "QA1BCD-9>APRS,QD1HRB*,QD1HDL*,WIDE2-1"
    assert header.network == b"QA1BCD-9>APRS,QD1HRB,QD1HDL*,WIDE2-1"


@pytest.mark.parametrize(
    ("path", "hops"),
    [
        ((), 0),
        ((UNUSED,), 0),
        ((USED, UNUSED), 1),
        ((USED, USED), 2),
        ((UNUSED, USED, UNUSED), 2),  # common practice: all before the last used one count
    ],
)
def test_hops_count_up_to_the_last_used_repeater(path: tuple[Repeater, ...], hops: int) -> None:
    assert Header("QA1BCD", "APRS", path).hops == hops


@pytest.mark.parametrize(
    "callsign",
    # IS-Connect, IS-Server: 1-9 characters, letters and digits, at most one hyphen, SSID of 1-2 letters or digits.
    ["Q", "QA1BCD", "QA1BCD-9", "QA1BCD-15", "QA1BCD-AB", "qa1bcd", "QA1BCDEFG", "QA1-1", "1", "QA1BCD-0"],
)
def test_the_network_takes_it_for_a_callsign(callsign: str) -> None:
    assert is_network_callsign(callsign)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "-",
        "-1",
        "QA1BCD-",
        "QA1BCD-123",
        "QA1BCDEFGH",
        "QA1BCDE-12",
        "QA1-B-1",
        "QA 1",
        "QÄ1",
        "QA1\n",
        "QA1*",
        "٣",
    ],
)
def test_the_network_does_not_take_it_for_a_callsign(text: str) -> None:
    assert not is_network_callsign(text)


@pytest.mark.parametrize("text", ["QA1>", "QA1,B", "QA1:", "QA1*", "QA1\x00", "QA1\r", "QA1\x7f", "QÄ1"])
def test_what_monitor_text_could_not_give_back_is_no_text_of_a_header(text: str) -> None:
    assert not is_plain_text(text)


def test_the_base_of_a_callsign_is_what_stands_before_its_ssid() -> None:
    assert (base_of("QA1BCD-9"), base_of("QA1BCD")) == ("QA1BCD", "QA1BCD")


@given(any_frames())
def test_a_header_is_known_again_by_its_text(frame: Frame) -> None:
    assert header_of(frame.header.text) == frame.header
