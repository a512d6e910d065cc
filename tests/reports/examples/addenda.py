"""What the addenda and the note on telemetry in comments added."""

from tests.reports.examples.mic_e import EXAMPLE
from tests.reports.examples.row import EARTHBOUND, NINTH, Row, mic_e, plain

ADDENDA = [
    # Thousandths of a minute are appended: 49°03.505', 72°01.752'.
    Row("APRS12: precision in digits", "APRS", b"!4903.50N/07201.75W-!W52!",
        plain("/-", **EARTHBOUND) | {"latitude": 49.058417, "longitude": -72.0292, "datum": "W"}),
    # The note has the base-91 digit times 1.1 as two further digits; 91sts of a hundredth differ by 0.2 m at most,
    # and cannot reach the next hundredth.
    Row("APRS12: precision in base 91, digits 25 and 55", "APRS", b"!4903.50N/07201.75W-!w:X!",
        plain("/-", **EARTHBOUND) | {"latitude": 49.058379, "longitude": -72.029267, "datum": "W"}),
    Row("APRS12: only the datum", "APRS", b"!4903.50N/07201.75W-Hello!W  !",
        plain("/-", comment="Hello", datum="W", **EARTHBOUND)),
    Row("APRS12: no digits behind a capital letter, so text", "APRS", b"!4903.50N/07201.75W-!Wow!",
        plain("/-", comment="!Wow!", **EARTHBOUND)),
    Row("APRS12: a word is no precision", "APRS", b"!4903.50N/07201.75W-lights !off!",
        plain("/-", comment="lights !off!", **EARTHBOUND)),
    Row("APRS12: what is blurred stays blurred", "APRS", b"!4903.  N/07201.  W-!W52!",
        plain("/-", **EARTHBOUND) | {"longitude": -72.025, "ambiguity": 2, "ambiguity_m": 1852.0, "datum": "W"}),
    Row("Base91 Comment Telemetry: sequence, five values, bits", "APRS", b'!4903.50N/07201.75W-Hello|ss1122334455!"|',
        plain("/-", comment="Hello", telemetry_sequence=7544, analogue=[1472, 1564, 1656, 1748, 1840],
              digital="10000000", **EARTHBOUND)),
    Row("Base91 Comment Telemetry: one value", "APRS", b"!4903.50N/07201.75W-|ss11|",
        plain("/-", telemetry_sequence=7544, analogue=[1472], **EARTHBOUND)),
    Row("Base91 Comment Telemetry: a finer position behind it", "APRS", b"!4903.50N/07201.75W-Hello|ss11|!W52!",
        plain("/-", comment="Hello", telemetry_sequence=7544, analogue=[1472], datum="W", **EARTHBOUND)
        | {"latitude": 49.058417, "longitude": -72.0292}),
    Row("Base91 Comment Telemetry: a device's code behind it", "S32UVT", EXAMPLE + b"`Hello|ss11|_%",
        mic_e(comment="Hello", telemetry_sequence=7544, analogue=[1472], device="`_%")),
    Row("Base91 Comment Telemetry: before words, so text", "APRS", b"!4903.50N/07201.75W-|ss11| Hello",
        plain("/-", comment="|ss11| Hello", **EARTHBOUND)),
    Row("Base91 Comment Telemetry: no value, so text", "APRS", b"!4903.50N/07201.75W-|ss|",
        plain("/-", comment="|ss|", **EARTHBOUND)),
    Row("Base91 Comment Telemetry: with Mic-E", "S32UVT", EXAMPLE + b'"4T}Hello|!!!"|',
        mic_e(altitude_m=61.0, comment="Hello", telemetry_sequence=0, analogue=[1])),
    Row("Base91 Comment Telemetry: in an object", "APRS", b";LEADER   *092345z4903.50N/07201.75W>|!#!!|",
        plain("/>", name="LEADER", live=True, telemetry_sequence=2, analogue=[0], **NINTH) | {"kind": "object"}),
    Row("APRS12: frequency, tone, offset, range", "APRS", b"!4903.50N/07201.75Wr146.940MHz T107 -060 R25m Hill",
        plain("/r", frequency_mhz=146.94, tone_hz=107, frequency_offset_mhz=-0.6, range_km=40.23, comment="Hill",
              **EARTHBOUND)),
    Row("APRS12: frequency alone", "APRS", b"!4903.50N/07201.75W>145.500MHz",
        plain("/>", frequency_mhz=145.5, **EARTHBOUND)),
    Row("APRS12, from memory: digital squelch, range in km", "APRS", b"!4903.50N/07201.75Wr439.125MHz D023 -760 R40k",
        plain("/r", frequency_mhz=439.125, tone_code="023", frequency_offset_mhz=-7.6, range_km=40.0,
              **EARTHBOUND)),
    Row("APRS12, from memory: microwaves by letter", "APRS", b"!4903.50N/07201.75WrA96.000MHz",
        plain("/r", frequency_mhz=1296.0, **EARTHBOUND)),
    Row("APRS12, from memory: tone burst", "APRS", b"!4903.50N/07201.75Wr145.600MHz 1750 -060",
        plain("/r", frequency_mhz=145.6, tone_hz=1750, frequency_offset_mhz=-0.6, **EARTHBOUND)),
]  # fmt: skip
