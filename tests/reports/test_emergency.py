"""Calls for help: what is one, what only looks like one, and that the quick look and the whole reading agree."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from gateway.reports import Kind, is_emergency, read, to_object

AT_A_PLACE = b"!4903.50N/07201.75W"
MIC_E = b'`(_fn"Oj/'


def calls_for_help(destination: str, information: bytes) -> bool:
    """What the quick look says, which is what reading it all says, and what is published."""
    report = read(destination, information)
    assert is_emergency(destination, information) == report.is_emergency
    assert ("emergency" in to_object(report)) is report.is_emergency
    return report.is_emergency


# !EMERGENCY! in the comment of a station's own position: APRS12, from memory.
@pytest.mark.parametrize(
    ("destination", "information", "kind"),
    [
        ("APRS", AT_A_PLACE + b">!EMERGENCY!", Kind.POSITION),
        ("APRS", AT_A_PLACE + b">088/036 Taking on water !EMERGENCY! need a tow /A=000012", Kind.POSITION),
        ("APRS", b"=4903.50N/07201.75W>Sinking!EMERGENCY!", Kind.POSITION),
        ("APRS", b"@092345z4903.50N/07201.75W>!EMERGENCY!", Kind.POSITION),
        ("APRS", b"=/5L!!<*e7> sT!EMERGENCY!", Kind.POSITION),
        ("APRS", b"!0000.00N\\00000.00W.!EMERGENCY!", Kind.POSITION),
        ("APRS", AT_A_PLACE + b"_220/004g005t077!EMERGENCY!", Kind.WEATHER),
        ("APRS", b"$GPGLL,2554.459,N,08020.187,W*73 !EMERGENCY!", Kind.POSITION),
        ("S32UVT", MIC_E + b"!EMERGENCY!", Kind.POSITION),
        ("S32UVT-3", MIC_E + b']"4T}Aground !EMERGENCY!=', Kind.POSITION),
        ("S32UVT", b'`(\x7ffn"Oj/!EMERGENCY!', Kind.UNKNOWN),  # no longitude: a set without a fix may still call
    ],
)
def test_the_mark_in_the_comment_of_ones_own_position_calls_for_help(
    destination: str, information: bytes, kind: Kind
) -> None:
    assert calls_for_help(destination, information)
    assert read(destination, information).kind is kind


@pytest.mark.parametrize(
    ("destination", "information"),
    [
        ("APRS", AT_A_PLACE + b">!Emergency!"),
        ("APRS", AT_A_PLACE + b">!emergency!"),
        ("APRS", AT_A_PLACE + b">EMERGENCY!"),
        ("APRS", AT_A_PLACE + b">!EMERGENCY"),
        ("APRS", AT_A_PLACE + b">! EMERGENCY !"),
        ("APRS", AT_A_PLACE + b">!EMER\x00GENCY!"),  # what is taken out of the text makes no mark of it
        ("APRS", AT_A_PLACE + b">!EMER/A=001234GENCY!"),
        ("APRS", AT_A_PLACE + b">|!EMERGENCY!!|"),  # telemetry in the comment
        ("S32UVT", MIC_E + b"!Emergency!"),
        ("APRS", MIC_E + b"!EMERGENCY!"),  # no Mic-E report without its latitude
        ("APRS", b";LEADER   *092345z4903.50N/07201.75W>!EMERGENCY!"),
        ("APRS", b")AID #2!4903.50N/07201.75WA!EMERGENCY!"),
        ("APRS", b":QA1BCD   :he sent !EMERGENCY!{1"),
        ("APRS", b":BLN1     :!EMERGENCY!"),
        ("APRS", b">!EMERGENCY!"),
        ("APRS", b"_10090556c220s004g005t077!EMERGENCY!"),
        ("APRS", b"{Q1!EMERGENCY!"),
        ("APRS", b"T#005,199,000,255,073,123,01101001!EMERGENCY!"),
        ("APRS", AT_A_PLACE[:-1] + b"?>!EMERGENCY!"),  # no place
    ],
)
def test_any_other_mark_and_the_mark_anywhere_else_calls_for_nothing(destination: str, information: bytes) -> None:
    assert not calls_for_help(destination, information)


@pytest.mark.parametrize(
    ("destination", "information"),
    [
        ("332UVT", MIC_E[:-1]),  # eight octets are no report (APRS101 chapter 10)
        ("332UVT", b"!4903.50N/07201.75W>"),
        ("332UVT", b""),
        ("332UV", MIC_E),
        ("332UVTA", MIC_E),
        ("APRS", MIC_E),
        ("SSRUVT", MIC_E),
    ],
)
def test_what_only_looks_like_the_message_of_a_call_for_help_is_none(destination: str, information: bytes) -> None:
    assert not calls_for_help(destination, information)


@pytest.mark.parametrize("first", [b"`", b"'", b"\x1c", b"\x1d"])
def test_the_message_calls_for_help_with_every_data_type_and_with_an_ssid(first: bytes) -> None:
    assert calls_for_help("332UVT", first + MIC_E[1:])
    assert calls_for_help("332UVT-3", first + MIC_E[1:])


def test_the_message_calls_for_help_in_information_too_long_to_be_read() -> None:
    assert calls_for_help("332UVT", MIC_E + b"x" * 512)


@pytest.mark.parametrize(
    ("information", "calls"),
    [
        (b"}QA1BCD-9>332UVT,QD1DIG-1*:" + MIC_E, True),
        (b"}QA1BCD-9>S32UVT,QD1DIG-1*:" + MIC_E, False),
        (b"}QA1BCD-9>APRS,QD1DIG-1*:" + AT_A_PLACE + b">!EMERGENCY!", True),
        (b"}QA1BCD-9>APRS,QD1DIG-1*:>!EMERGENCY!", False),
    ],
)
def test_a_call_for_help_inside_third_party_traffic_is_read_from_the_innermost_frame(
    information: bytes, calls: bool
) -> None:
    assert read("332UVT", information).is_emergency is calls


@given(
    st.sampled_from(["APRS", "S32UVT", "332UVT", "332UVT-3", "APRS-9"]) | st.text(max_size=9),
    st.sampled_from([b"", AT_A_PLACE + b">", b"=/5L!!<*e7> sT", MIC_E, b";LEADER   *", b")", b":QA1BCD   :", b"|"]),
    st.binary(max_size=30),
    st.binary(max_size=30),
)
def test_the_quick_look_and_the_whole_reading_agree(
    destination: str, beginning: bytes, before: bytes, after: bytes
) -> None:
    for information in (beginning + before + b"!EMERGENCY!" + after, beginning + before + after):
        if not information.startswith(b"}"):
            calls_for_help(destination, information)
