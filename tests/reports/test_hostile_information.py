"""Each reader under attack: nearly proper information in which the pieces are odd, and what comes out all the same."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.reports.test_reading import check

BEGINNINGS = {
    "a plain position": (
        b"!4903.50N/07201.75W>",
        b"=4903.  N\\07201.  Wl",
        b"@092345z4903.50N/07201.75W\\",
        b"!",
        b"/0923",
    ),
    "a compressed position": (b"=/5L!!<*e7>", b"@092345z\\5L!!<*e7_", b"!f5L!!<*e7#7P[", b"/092345x/5L!!<*e7@"),
    "a weather station": (
        b"!4903.50N/07201.75W_",
        b"@092345z4903.50N/07201.75W_220/004",
        b"_10090556",
        b"=/5L!!<*e7_7P[",
    ),
    "a weather station's record": (b"$ULTW", b"!!", b"!!006B0058"),
    "a storm": (
        b"!4903.50N/07201.75W@088/036/",
        b"!4903.50N\\07201.75W@.../.../HC/",
        b";STORM1   *092345z4903.50N\\07201.75W@",
    ),
    "a direction finder": (b"=4903.50N/07201.75W\\.../.../", b"=4903.50N/07201.75W\\088/036/270/"),
    "a Mic-E set": (b'`(_fn"Oj/', b"'", b"\x1c(_f", b'\x1d(_fn"Oj/`', b'`(_fn"Oj/]"4T}'),
    "an object": (b";LEADER   *092345z4903.50N/07201.75W>", b";", b";146.94-NJ*111111z4903.50N/07201.75Wr"),
    "an item": (b")AID #2!4903.50N/07201.75WA", b")", b")A"),
    "a message": (b":QA1BCD   :", b":QA1BCD   :ack", b":QA1BCD   :rej", b":BLN", b":BLN1WX   :", b":", b":NWS-WARN :"),
    "telemetry": (b"T#", b"T#005,", b"T#MIC", b"T#005,199,000,255,073,123,"),
    "a definition": (b":QA1BCD   :EQNS.", b":QA1BCD   :BITS.", b":QA1BCD   :PARM.", b":QA1BCD   :UNIT."),
    "a status": (b">", b">092345z", b">IO91SX/-", b">IO91", b"[IO91SX]", b"["),
    "a query": (b"?", b"?APRS? 34.02,-117.15,", b":QA1BCD   :?APRS"),
    "capabilities": (b"<", b"<IGATE,"),
    "a sentence": (
        b"$GPRMC,",
        b"$GPGGA,102705,",
        b"$GPVTG,",
        b"$GPGLL,2560.0,N,08060.0,W",
        b"$",
        b"$GPWPL,4917.16,N,12310.64,W,",
    ),
    "a user": (b"{", b"{Q", b"{{z"),
    "a third party": (b"}", b"}QA1BCD>", b"}QA1BCD>S32UVT,QD1DIG*:", b"}QA1BCD>APRS:}"),
    "a comment": (
        b"!4903.50N/07201.75W>|",
        b"!4903.50N/07201.75W>!w",
        b"!4903.50N/07201.75W>/A=",
        b"!4903.50N/07201.75Wr146.94",
    ),
}

PIECES = st.one_of(
    st.sampled_from(
        [
            b"..",
            b"...",
            b"....",
            b" ",
            b"   ",
            b"-",
            b"--",
            b"+",
            b"/",
            b"//",
            b"|",
            b"||",
            b"!",
            b"!w!!!",
            b"{",
            b"}",
            b"*",
            b",",
            b",,",
            b"#",
            b"^",
            b"&",
            b"%",
            b"MHz",
            b" T107",
            b" Toff",
            b" -060",
            b" R25m",
            b"/A=",
            b"ack",
            b"!EMERGENCY!",
            b"360",
            b"361",
            b"999",
            b"000",
            b"60.00",
            b"1e99",
            b"-1e-99",
            b".5",
            b"5.",
            b"+5",
            b"-0",
            b"\x00",
            b"\xff",
            b"\r",
            b"\n",
        ]
    ),
    st.integers(-(10**12), 10**12).map(lambda number: b"%d" % number),
    st.floats(allow_nan=True, allow_infinity=True).map(lambda number: repr(number).encode()),
    st.sampled_from(b"csgtrpPhbLl#XVNSEWzh0123456789ABCDEFGHIJ").map(lambda octet: bytes([octet])),
    st.binary(max_size=4),
)

DESTINATIONS = st.sampled_from(
    ["APRS", "S32UVT", "332UVT-3", "S3VPPP", "SSZZZZ", "DDCUVT", "GPSMV", "GPSC00", "SPCOD-", "", "é"]
)


@pytest.mark.parametrize("reader", BEGINNINGS)
@settings(max_examples=50)
@given(destination=DESTINATIONS, which=st.integers(0, 9), pieces=st.lists(PIECES, max_size=12))
def test_whatever_is_read_holds_to_the_schema_and_is_no_larger_than_what_was_sent(
    reader: str, destination: str, which: int, pieces: list[bytes]
) -> None:
    beginnings = BEGINNINGS[reader]
    information = beginnings[which % len(beginnings)] + b"".join(pieces)
    published = check(destination, information)
    written = json.dumps(published, ensure_ascii=False).encode()
    assert len(written) <= 600 + 8 * len(information)  # names and numbers; each octet may be said twice, and escaped


@given(st.binary(max_size=40), st.integers(0, 20))
def test_a_place_stays_a_place_whatever_the_comment_behind_it_says(comment: bytes, cut: int) -> None:
    for place in (
        b"!4903.50N/07201.75W>",
        b"=/5L!!<*e7> sT",
        b"@092345z4903.50N/07201.75W_",
        b")AID #2!4903.50N/07201.75WA",
    ):
        published = check("APRS", place + comment[cut:])
        assert published["kind"] in {"position", "weather", "item"}
        assert published["latitude"] == pytest.approx(49.3, abs=0.3)
