"""The published worked examples, one row each, with what they mean in our published form.

Where a row's source ends in "from memory", the example or a number in it was not looked up. Examples from a published
source keep their callsigns. Notes stand where the source can be read in two ways: which was taken, and why.
"""

from typing import Any, NamedTuple

import pytest
from jsonschema import Draft202012Validator

from gateway.reports import describe, load_schema, read, to_object


class Row(NamedTuple):
    """An example: where it comes from, the frame's destination and information, and the object it becomes."""

    source: str
    destination: str
    information: bytes
    expected: dict[str, Any]


def plain(symbol: str, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """The place that most of the standard's examples stand at: 49°03.50'N 72°01.75'W."""
    place = {"written": "plain-text", "latitude": 49.058333, "longitude": -72.029167, "ambiguity": 0, "symbol": symbol}
    return {"kind": "position", **place, **more}


def compressed(symbol: str, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """49°30'N 72°45'W, as near as base 91 comes to it."""
    place = {"written": "compressed", "latitude": 49.5, "longitude": -72.750004, "symbol": symbol}
    return {"kind": "position", **place, **more}


def mic_e(**more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """33°25.64'N 112°07.74'W, 20 knots, 251°, a jeep."""
    place = {"written": "mic-e", "latitude": 33.427333, "longitude": -112.129, "ambiguity": 0, "symbol": "/j"}
    return {"kind": "position", **place, "course_deg": 251, "speed_kmh": 37.0, "message_type": "returning", **more}


def unknown(because: str) -> dict[str, Any]:
    return {"kind": "unknown", "because": because}


WEATHER = {
    "wind_deg": 220,
    "wind_ms": 1.8,
    "gust_ms": 2.2,
    "temperature_c": 25.0,
    "rain_last_hour_mm": 0.0,
    "rain_last_day_mm": 0.0,
    "rain_today_mm": 0.0,
    "humidity_pct": 50,
    "pressure_hpa": 990.0,
}
"""Wind 220° at 4 mph, gusts 5 mph, 77 °F, no rain, 50 %, 990.0 hPa."""

EARTHBOUND = {"takes_messages": False}
TALKING = {"takes_messages": True}
NINTH = {"time": "---09T23:45Z"}

DATA_TYPES = [
    Row("APRS101 ch. 5, from memory: ! after a repeater's own words", "APRS", b"QD1DIG-1 repeater!4903.50N/07201.75W#",
        plain("/#", comment="QD1DIG-1 repeater", **EARTHBOUND)),
    Row("APRS101 ch. 5: ! as the fortieth octet", "APRS", b"x" * 39 + b"!4903.50N/07201.75W#",
        plain("/#", comment="x" * 39, **EARTHBOUND)),
    Row("APRS101 ch. 5: ! as the forty-first octet", "APRS", b"x" * 40 + b"!4903.50N/07201.75W#",
        unknown("it begins with no data type that the standard knows, and holds no position further on")),
    # A `!` that begins nothing is passed over: the standard does not say that the first one counts.
    Row("APRS101 ch. 5: an earlier ! in the words", "APRS", b"Hi! QD1DIG!4903.50N/07201.75W#",
        plain("/#", comment="Hi! QD1DIG", **EARTHBOUND)),
    Row("APRS101 ch. 5: T that is no telemetry", "APRS", b"TNC words !4903.50N/07201.75W#",
        plain("/#", comment="TNC words", **EARTHBOUND)),
    Row("APRS101 ch. 5: invalid or test data", "APRS", b",anything",
        unknown("its sender marks it as invalid or as a test")),
    Row("APRS101 ch. 5: map feature", "APRS", b"&anything",
        unknown("map feature: reserved by the standard, and never defined")),
    Row("APRS101 ch. 5: shelter data", "APRS", b"+anything",
        unknown("shelter data: reserved by the standard, and never defined")),
    Row("APRS101 ch. 5: space weather", "APRS", b".anything",
        unknown("space weather: reserved by the standard, and never defined")),
    Row("APRS101 ch. 5: direction finder's record", "APRS", b"%anything",
        unknown("a direction finder's raw record, in an obsolete form")),
    Row("APRS101 ch. 5: no information", "APRS", b"", unknown("there is no information")),
]  # fmt: skip

TIMES_AND_PLACES = [
    Row("APRS101 ch. 6: latitude and longitude", "APRS", b"!4903.50N/07201.75W-", plain("/-", **EARTHBOUND)),
    Row("APRS101 ch. 6: southern and eastern", "APRS", b"!4903.50S/07201.75E-",
        plain("/-", **EARTHBOUND) | {"latitude": -49.058333, "longitude": 72.029167}),
    Row("APRS101 ch. 6: to a tenth of a minute, 3.50 to 3.59", "APRS", b"!4903.5 N/07201.7 W-",
        plain("/-", **EARTHBOUND) | {"latitude": 49.059167, "ambiguity": 1, "ambiguity_m": 185.0}),
    Row("APRS101 ch. 6: to the minute", "APRS", b"!4903.  N/07201.  W-",
        plain("/-", **EARTHBOUND) | {"longitude": -72.025, "ambiguity": 2, "ambiguity_m": 1852.0}),
    Row("APRS101 ch. 6: to ten minutes", "APRS", b"!490 .  N/0720 .  W-",
        plain("/-", **EARTHBOUND)
        | {"latitude": 49.083333, "longitude": -72.083333, "ambiguity": 3, "ambiguity_m": 18520.0}),
    Row("APRS101 ch. 6: to the degree", "APRS", b"!49  .  N/072  .  W-",
        plain("/-", **EARTHBOUND) | {"latitude": 49.5, "longitude": -72.5, "ambiguity": 4, "ambiguity_m": 111120.0}),
    Row("APRS101 ch. 6: the latitude's blanks hold for both", "APRS", b"!4903.  N/07201.75W-",
        plain("/-", **EARTHBOUND) | {"longitude": -72.025, "ambiguity": 2, "ambiguity_m": 1852.0}),
    # The standard names only the latitude's blanks. A longitude alone blanked was meant to hide something.
    Row("APRS101 ch. 6: blanks in the longitude alone", "APRS", b"!4903.50N/0720 .  W-",
        plain("/-", **EARTHBOUND)
        | {"latitude": 49.083333, "longitude": -72.083333, "ambiguity": 3, "ambiguity_m": 18520.0}),
    Row("APRS101 ch. 6: blanks not from the right", "APRS", b"!49 3.50N/07201.75W-",
        unknown("digits of the position are blanked, but not from the right")),
    Row("APRS101 ch. 6: null position of one who does not know", "APRS", b"!0000.00N\\00000.00W.",
        {"kind": "position", "symbol": "\\.", **EARTHBOUND}),
    Row("APRS101 ch. 6: zero is a place with any other symbol", "APRS", b"!0000.00N/00000.00W-",
        plain("/-", **EARTHBOUND) | {"latitude": 0.0, "longitude": 0.0}),
    Row("APRS101 ch. 6: the pole and the date line", "APRS", b"!9000.00N/18000.00E-",
        plain("/-", **EARTHBOUND) | {"latitude": 90.0, "longitude": 180.0}),
    Row("APRS101 ch. 6: beyond the pole", "APRS", b"!9000.01N/07201.75W-",
        unknown("the position lies beyond the pole or the date line")),
    Row("APRS101 ch. 6: sixty minutes", "APRS", b"!4960.00N/07201.75W-",
        unknown("neither a plain nor a compressed position stands where one belongs")),
    Row("APRS101 ch. 6: day, hour, minute, UTC", "APRS", b"@092345z4903.50N/07201.75W>",
        plain("/>", **NINTH, **TALKING)),
    Row("APRS101 ch. 6: day, hour, minute, local", "APRS", b"@092345/4903.50N/07201.75W>",
        plain("/>", time="---09T23:45", **TALKING)),
    Row("APRS101 ch. 6: hour, minute, second", "APRS", b"@234517h4903.50N/07201.75W>",
        plain("/>", time="T23:45:17Z", **TALKING)),
    # The standard says nothing of impossible times. The place is good all the same; the time is absent.
    Row("APRS101 ch. 6: a time no clock shows", "APRS", b"@999999z4903.50N/07201.75W>", plain("/>", **TALKING)),
    Row("APRS101 ch. 6: month, day, hour, minute", "APRS", b"_10092345c220s004g005t077",
        {"kind": "weather", "time": "--10-09T23:45Z", "wind_deg": 220, "wind_ms": 1.8, "gust_ms": 2.2,
         "temperature_c": 25.0}),
    Row("APRS101 ch. 6: altitude in the comment", "APRS", b"!4903.50N/07201.75W-Test /A=001234",
        plain("/-", altitude_m=376.1, comment="Test", **EARTHBOUND)),
    Row("APRS101 ch. 6: altitude anywhere in the comment", "APRS", b"!4903.50N/07201.75W-/A=001234 Test",
        plain("/-", altitude_m=376.1, comment="Test", **EARTHBOUND)),
    Row("common practice: altitude below the sea", "APRS", b"!4903.50N/07201.75W-/A=-00012",
        plain("/-", altitude_m=-3.7, **EARTHBOUND)),
    Row("common practice: hemispheres in lower case", "APRS", b"!4903.50n/07201.75w-", plain("/-", **EARTHBOUND)),
    Row("APRS101 ch. 6: blurred beyond the pole", "APRS", b"!90  .  N/072  .  W-",
        unknown("the position lies beyond the pole or the date line")),
]  # fmt: skip

EXTENSIONS = [
    Row("APRS101 ch. 7: course and speed", "APRS", b"!4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, **EARTHBOUND)),
    Row("APRS101 ch. 7: course 360 is north", "APRS", b"!4903.50N/07201.75W>360/010",
        plain("/>", course_deg=360, speed_kmh=18.5, **EARTHBOUND)),
    Row("APRS101 ch. 7: course 0 is unknown", "APRS", b"!4903.50N/07201.75W>000/010",
        plain("/>", speed_kmh=18.5, **EARTHBOUND)),
    Row("APRS101 ch. 7: dots are unknown", "APRS", b"!4903.50N/07201.75W>.../...", plain("/>", **EARTHBOUND)),
    Row("APRS101 ch. 7: spaces are unknown", "APRS", b"!4903.50N/07201.75W>   /   ", plain("/>", **EARTHBOUND)),
    Row("APRS101 ch. 7: no compass shows it, so it is text", "APRS", b"!4903.50N/07201.75W>999/036",
        plain("/>", comment="999/036", **EARTHBOUND)),
    Row("APRS101 ch. 7: power, height, gain", "APRS", b"!4903.50N/07201.75W#PHG5132",
        plain("/#", power_w=25, antenna_height_m=6.1, antenna_gain_db=3, antenna_bearing_deg=90, **EARTHBOUND)),
    Row("APRS101 ch. 7: the table's ends", "APRS", b"!4903.50N/07201.75W#PHG9998",
        plain("/#", power_w=81, antenna_height_m=1560.6, antenna_gain_db=9, antenna_bearing_deg=360, **EARTHBOUND)),
    Row("APRS101 ch. 7: omnidirectional, no power", "APRS", b"!4903.50N/07201.75W#PHG0000",
        plain("/#", power_w=0, antenna_height_m=3.0, antenna_gain_db=0, **EARTHBOUND)),
    Row("APRS101 ch. 7: heights go on after 9, colon is 10240 ft", "APRS", b"!4903.50N/07201.75WOPHG5:32",
        plain("/O", power_w=25, antenna_height_m=3121.2, antenna_gain_db=3, antenna_bearing_deg=90, **EARTHBOUND)),
    Row("APRS11, from memory: beacons an hour", "APRS", b"!4903.50N/07201.75W#PHG5132A/text",
        plain("/#", power_w=25, antenna_height_m=6.1, antenna_gain_db=3, antenna_bearing_deg=90, beacons_per_hour=10,
              comment="text", **EARTHBOUND)),
    Row("APRS101 ch. 7: range", "APRS", b"!4903.50N/07201.75W#RNG0050", plain("/#", range_km=80.47, **EARTHBOUND)),
    Row("APRS101 ch. 7: direction finder's strength", "APRS", b"!4903.50N/07201.75W#DFS2360",
        plain("/#", signal_strength_s=2, antenna_height_m=24.4, antenna_gain_db=6, **EARTHBOUND)),
    Row("APRS101 ch. 7: bearing, N 7, R 2, Q 9", "APRS", b"=4903.50N/07201.75W\\088/036/270/729",
        plain("/\\", course_deg=88, speed_kmh=66.7, signal_bearing_deg=270, signal_hits_pct=87.5,
              signal_range_km=6.44, signal_width_deg=1, **TALKING)),
    Row("APRS101 ch. 7: N 0 says nothing more", "APRS", b"=4903.50N/07201.75W\\088/036/270/029",
        plain("/\\", course_deg=88, speed_kmh=66.7, signal_bearing_deg=270, **TALKING)),
    Row("APRS101 ch. 7: N 9 by hand, Q 0 useless", "APRS", b"=4903.50N/07201.75W\\088/036/270/930",
        plain("/\\", course_deg=88, speed_kmh=66.7, signal_bearing_deg=270, signal_range_km=12.87, **TALKING)),
    Row("APRS101 ch. 7: a bearing behind any other symbol is text", "APRS", b"=4903.50N/07201.75W>088/036/270/729",
        plain("/>", course_deg=88, speed_kmh=66.7, comment="/270/729", **TALKING)),
    Row("APRS101 ch. 7: a bearing that no compass shows", "APRS", b"=4903.50N/07201.75W\\088/036/999/729",
        plain("/\\", course_deg=88, speed_kmh=66.7, comment="/999/729", **TALKING)),
    Row("APRS101 ch. 7: letters that only begin like an extension", "APRS", b"!4903.50N/07201.75W#PHGxyz",
        plain("/#", comment="PHGxyz", **EARTHBOUND)),
    Row("APRS101 ch. 7: a range that is none", "APRS", b"!4903.50N/07201.75W#RNGxyzt",
        plain("/#", comment="RNGxyzt", **EARTHBOUND)),
    Row("APRS101 ch. 7: a strength that is none", "APRS", b"!4903.50N/07201.75W#DFS9999",
        plain("/#", comment="DFS9999", **EARTHBOUND)),
]  # fmt: skip

POSITIONS = [
    Row("APRS101 ch. 8: no time, takes none", "APRS", b"!4903.50N/07201.75W-Test 001234",
        plain("/-", comment="Test 001234", **EARTHBOUND)),
    Row("APRS101 ch. 8: no time, takes messages", "APRS", b"=4903.50N/07201.75W-Test",
        plain("/-", comment="Test", **TALKING)),
    Row("APRS101 ch. 8: time, takes none", "APRS", b"/092345z4903.50N/07201.75W>Test1234",
        plain("/>", comment="Test1234", **NINTH, **EARTHBOUND)),
    Row("APRS101 ch. 8: local time, takes messages", "APRS", b"@092345/4903.50N/07201.75W>Test1234",
        plain("/>", comment="Test1234", time="---09T23:45", **TALKING)),
    Row("APRS101 ch. 8: takes messages and PHG", "APRS", b"=4903.50N/07201.75W#PHG5132",
        plain("/#", power_w=25, antenna_height_m=6.1, antenna_gain_db=3, antenna_bearing_deg=90, **TALKING)),
    Row("APRS101 ch. 8: time, course and speed", "APRS", b"@092345/4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, time="---09T23:45", **TALKING)),
    Row("APRS101 ch. 8: time in seconds and PHG", "APRS", b"@234517h4903.50N/07201.75W>PHG5132",
        plain("/>", power_w=25, antenna_height_m=6.1, antenna_gain_db=3, antenna_bearing_deg=90, time="T23:45:17Z",
              **TALKING)),
    Row("APRS101 ch. 8: time and range", "APRS", b"@092345z4903.50N/07201.75W>RNG0050",
        plain("/>", range_km=80.47, **NINTH, **TALKING)),
    Row("APRS101 ch. 8: time and direction finder's strength", "APRS", b"/234517h4903.50N/07201.75W>DFS2360",
        plain("/>", signal_strength_s=2, antenna_height_m=24.4, antenna_gain_db=6, time="T23:45:17Z", **EARTHBOUND)),
    Row("APRS101 ch. 8: time and bearing", "APRS", b"@092345z4903.50N/07201.75W\\088/036/270/729",
        plain("/\\", course_deg=88, speed_kmh=66.7, signal_bearing_deg=270, signal_hits_pct=87.5,
              signal_range_km=6.44, signal_width_deg=1, **NINTH, **TALKING)),
    Row("APRS101 ch. 8: course, speed, then altitude", "APRS", b"/092345z4903.50N/07201.75W>088/036/A=001234",
        plain("/>", course_deg=88, speed_kmh=66.7, altitude_m=376.1, **NINTH, **EARTHBOUND)),
    Row("APRS101 ch. 8: a position without its time", "APRS", b"@4903.50N/07201.75W>",
        unknown("no time stands where one belongs")),
    Row("APRS101 ch. 8: beacon of a bare locator, obsolete", "APRS", b"[IO91SX] 35 miles NNW of London",
        {"kind": "status", "locator": "IO91SX", "text": "35 miles NNW of London"}),
    Row("APRS101 ch. 8: the same of four characters, from memory", "APRS", b"[IO91]",
        {"kind": "status", "locator": "IO91"}),
]  # fmt: skip

COMPRESSED = [
    Row("APRS101 ch. 9: course and speed", "APRS", b"=/5L!!<*e7>7P[",
        compressed("/>", course_deg=88, speed_kmh=67.1, fix="current", **TALKING)),
    Row("APRS101 ch. 9: nothing but a place", "APRS", b"=/5L!!<*e7> sTComment",
        compressed("/>", comment="Comment", **TALKING)),
    Row("APRS101 ch. 9: range 20.13 miles", "APRS", b"=/5L!!<*e7>{?!",
        compressed("/>", range_km=32.39, fix="old", **TALKING)),
    Row("APRS101 ch. 9: altitude 10004 ft", "APRS", b"=/5L!!<*e7OS]S",
        compressed("/O", altitude_m=3049.4, fix="current", **TALKING)),
    Row("APRS101 ch. 9: with time", "APRS", b"@092345z/5L!!<*e7>{?!",
        compressed("/>", range_km=32.39, fix="old", **NINTH, **TALKING)),
    Row("APRS101 ch. 9: a digit over the symbol is sent as a letter", "APRS", b"=f5L!!<*e7# sT",
        compressed("5#", **TALKING)),
    Row("APRS101 ch. 9: a letter over the symbol is sent as it is", "APRS", b"=D5L!!<*e7# sT",
        compressed("D#", **TALKING)),
    Row("APRS101 ch. 9: the north-west corner", "APRS", b"!/!!!!!!!!>!!!",
        compressed("/>", course_deg=0, speed_kmh=0.0, fix="old", **EARTHBOUND)
        | {"latitude": 90.0, "longitude": -180.0}),
    Row("APRS101 ch. 9: past the south pole", "APRS", b"!/{{{{{{{{> sT",
        unknown("the compressed position lies beyond the pole or the date line")),
    # With a finer altitude in the comment, the compressed one (0.2 %) gives way.
    Row("APRS101 ch. 6 and 9: two altitudes", "APRS", b"=/5L!!<*e7OS]S/A=010000",
        compressed("/O", altitude_m=3048.0, fix="current", **TALKING)),
]  # fmt: skip

_MIC_E = b'`(_fn"Oj/'
MIC_E = [
    Row("APRS101 ch. 10: the example in full", "S32UVT", _MIC_E, mic_e()),
    Row("APRS101 ch. 10: longitude offset 0", "S32U6T", _MIC_E, mic_e(longitude=-12.129)),
    Row("APRS101 ch. 10: south and east", "S325V4", _MIC_E, mic_e(latitude=-33.427333, longitude=112.129)),
    Row("APRS101 ch. 10: off duty", "SSRUVT", _MIC_E, mic_e(message_type="off-duty")),
    Row("APRS101 ch. 10: en route", "SS2UVT", _MIC_E, mic_e(message_type="en-route")),
    Row("APRS101 ch. 10: in service", "S3RUVT", _MIC_E, mic_e(message_type="in-service")),
    Row("APRS101 ch. 10: committed", "3SRUVT", _MIC_E, mic_e(message_type="committed")),
    Row("APRS101 ch. 10: special", "3S2UVT", _MIC_E, mic_e(message_type="special")),
    Row("APRS101 ch. 10: priority", "33RUVT", _MIC_E, mic_e(message_type="priority")),
    Row("APRS101 ch. 10: emergency", "332UVT", _MIC_E, mic_e(message_type="emergency", emergency=True)),
    Row("APRS101 ch. 10: custom 0", "DDCUVT", _MIC_E, mic_e(message_type="custom-0")),
    Row("APRS101 ch. 10: custom 1", "DD2UVT", _MIC_E, mic_e(message_type="custom-1")),
    Row("APRS101 ch. 10: custom 2", "D3CUVT", _MIC_E, mic_e(message_type="custom-2")),
    Row("APRS101 ch. 10: custom 3", "D32UVT", _MIC_E, mic_e(message_type="custom-3")),
    Row("APRS101 ch. 10: custom 4", "3DCUVT", _MIC_E, mic_e(message_type="custom-4")),
    Row("APRS101 ch. 10: custom 5", "3D2UVT", _MIC_E, mic_e(message_type="custom-5")),
    Row("APRS101 ch. 10: custom 6", "33CUVT", _MIC_E, mic_e(message_type="custom-6")),
    Row("APRS101 ch. 10: standard and custom mixed", "SDCUVT", _MIC_E, mic_e(message_type="unknown")),
    Row("APRS101 ch. 10: one digit blanked", "S32UVZ", _MIC_E,
        mic_e(latitude=33.4275, longitude=-112.129167, ambiguity=1, ambiguity_m=185.0)),
    Row("APRS101 ch. 10: two digits blanked, 33°25.5' 112°07.5'", "S32UZZ", _MIC_E,
        mic_e(latitude=33.425, longitude=-112.125, ambiguity=2, ambiguity_m=1852.0)),
    Row("APRS101 ch. 10: four digits blanked", "S3ZZZZ", _MIC_E,
        mic_e(latitude=33.5, longitude=-112.5, ambiguity=4, ambiguity_m=111120.0, message_type="in-service")),
    Row("APRS101 ch. 10: 0 to 9 degrees, here 5", "S32UVT", b'`{_fn"Oj/', mic_e(longitude=-5.129)),
    Row("APRS101 ch. 10: 100 to 109 degrees, here 105", "S32UVT", b'`q_fn"Oj/', mic_e(longitude=-105.129)),
    Row("APRS101 ch. 10: 10 to 99 degrees, here 45", "S32U6T", b'`I_fn"Oj/', mic_e(longitude=-45.129)),
    Row("APRS101 ch. 10: minutes from 10 stand as they are", "S32UVT", b'`(Cfn"Oj/', mic_e(longitude=-112.6623333)
        | {"longitude": -112.662333}),
    Row("APRS101 ch. 10: the other way to print speed and course", "S32UVT", b"`(_f\x1e\x1eOj/", mic_e()),
    Row("APRS101 ch. 10: the old data type", "S32UVT", b'\'(_fn"Oj/', mic_e()),
    Row("APRS101 ch. 10: as the first units sent it, current", "S32UVT", b'\x1c(_fn"Oj/', mic_e()),
    Row("APRS101 ch. 10: as the first units sent it, old", "S32UVT", b'\x1d(_fn"Oj/', mic_e()),
    Row("APRS101 ch. 10: altitude 61 m", "S32UVT", _MIC_E + b'"4T}', mic_e(altitude_m=61.0)),
    Row("APRS101 ch. 10: altitude behind a type code", "S32UVT", _MIC_E + b']"4T}Hello',
        mic_e(altitude_m=61.0, device="]", comment="Hello")),
    Row("APRS101 ch. 10: type code and text", "S32UVT", _MIC_E + b">Hello", mic_e(device=">", comment="Hello")),
    Row("APRS12, from memory: a letter's type code with its ending", "S32UVT", _MIC_E + b"]Hello=",
        mic_e(device="]=", comment="Hello")),
    Row("APRS12, from memory: a mark's type code with its ending", "S32UVT", _MIC_E + b'`"4T}Hello_%',
        mic_e(device="`_%", altitude_m=61.0, comment="Hello")),
    Row("APRS101 ch. 10: two telemetry values, channels 1 and 3", "S32UVT", _MIC_E + b"`1F02",
        mic_e(analogue=[31, None, 2])),
    Row("APRS101 ch. 10: five telemetry values", "S32UVT", _MIC_E + b"'00FF10A0BCtext",
        mic_e(analogue=[0, 255, 16, 160, 188], comment="text")),
    Row("APRS101 ch. 10: five binary telemetry values", "S32UVT", _MIC_E + b"\x1d\x01\x02\xff\x04\x05text",
        mic_e(analogue=[1, 2, 255, 4, 5], comment="text")),
    Row("APRS101 ch. 10: locator in the text", "S32UVT", _MIC_E + b"IO91SX/G Hello",
        mic_e(locator="IO91SX", comment="Hello")),
    Row("APRS12: precision", "S32UVT", _MIC_E + b"!W52!", mic_e(latitude=33.427417, longitude=-112.129033, datum="W")),
    Row("APRS101 ch. 10: SSID of the destination is no digit", "S32UVT-3", _MIC_E, mic_e()),
    Row("APRS101 ch. 10: shorter than nine octets", "S32UVT", _MIC_E[:-1],
        unknown("a Mic-E report is nine octets long at least")),
    Row("APRS101 ch. 10: a destination that is no latitude", "APRS", _MIC_E,
        unknown("the destination of a Mic-E report is its latitude; this one is none")),
    Row("APRS101 ch. 10: letters A to K stand only for message bits", "S32UVA", _MIC_E,
        unknown("the destination of a Mic-E report is its latitude; this one is none")),
    # The standard does not say what a call for help without a place is. It stays a call for help.
    Row("APRS101 ch. 10: emergency, and no longitude", "332UVT", b'`(\x7ffn"Oj/',
        unknown("the longitude of the Mic-E report is none") | {"emergency": True}),
    Row("APRS101 ch. 10: digits blanked, but not from the right", "S3Z5V4", _MIC_E,
        unknown("digits of the position are blanked, but not from the right")),
    Row("APRS101 ch. 10: beyond the pole", "Y9RUVT", _MIC_E, unknown("the latitude of the Mic-E report is none")),
    Row("APRS101 ch. 10: octets too low for a speed", "S32UVT", b'`(_f\x05"Oj/',
        unknown("the speed or the course of the Mic-E report is none")),
    Row("APRS101 ch. 10: a symbol that does not print", "S32UVT", b'`(_fn"O\x01/',
        unknown("the symbol of the Mic-E report is none")),
]  # fmt: skip

OBJECTS = [
    Row("APRS101 ch. 11: live object", "APRS", b";LEADER   *092345z4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, name="LEADER", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11: killed object", "APRS", b";LEADER   _092345z4903.50N/07201.75W>088/036",
        plain("/>", course_deg=88, speed_kmh=66.7, name="LEADER", live=False, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11: compressed object", "APRS", b";CAR      *092345z/5L!!<*e7>7P[",
        compressed("/>", course_deg=88, speed_kmh=67.1, fix="current", name="CAR", live=True, **NINTH)
        | {"kind": "object"}),
    Row("APRS101 ch. 11: live item", "APRS", b")AID #2!4903.50N/07201.75WA",
        plain("/A", name="AID #2", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11: killed item", "APRS", b")AID #2_4903.50N/07201.75WA",
        plain("/A", name="AID #2", live=False) | {"kind": "item"}),
    Row("APRS101 ch. 11: blurred item", "APRS", b")G/WB4APR!53  .  N\\002  .  Wd",
        plain("\\d", name="G/WB4APR", live=True)
        | {"kind": "item", "latitude": 53.5, "longitude": -2.5, "ambiguity": 4, "ambiguity_m": 111120.0}),
    Row("APRS101 ch. 11: compressed item", "APRS", b")MOBIL!\\5L!!<*e79 sT",
        compressed("\\9", name="MOBIL", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11, from memory: area, a filled red circle", "APRS",
        b";FIRE     *092345z4903.50N\\07201.75Wl530/430",
        plain("\\l", area_shape="filled-circle", area_colour="red", area_latitude_span_deg=0.6,
              area_longitude_span_deg=0.6, name="FIRE", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 11, from memory: a dimmed line with its corridor", "APRS",
        b";ROUTE    *092345z4903.50N\\07201.75Wl1151230{05}",
        plain("\\l", area_shape="line-down-right", area_colour="dark red", area_latitude_span_deg=0.15,
              area_longitude_span_deg=0.6, area_corridor_km=8.05, name="ROUTE", live=True, **NINTH)
        | {"kind": "object"}),
    Row("APRS101 ch. 11: signpost", "APRS", b")I91 3N!4903.50N\\07201.75Wm{55}",
        plain("\\m", sign="55", name="I91 3N", live=True) | {"kind": "item"}),
    Row("APRS101 ch. 11: an item's name of two characters", "APRS", b")AB!4903.50N/07201.75WA",
        unknown("an item has a name of three to nine characters, and ! or _ after it")),
    Row("APRS101 ch. 11: an object without time", "APRS", b";LEADER   *4903.50N/07201.75W>",
        unknown("no time stands behind the object's name")),
    Row("APRS12, from memory: a repeater's frequency is its name", "APRS", b";146.94-XX*092345z4903.50N/07201.75Wr",
        plain("/r", frequency_mhz=146.94, name="146.94-XX", live=True, **NINTH) | {"kind": "object"}),
]  # fmt: skip

WEATHER_REPORTS = [
    Row("APRS101 ch. 12: without a position", "APRS", b"_10090556c220s004g005t077r000p000P000h50b09900wRSW",
        {"kind": "weather", "time": "--10-09T05:56Z", **WEATHER, "device": "wRSW"}),
    Row("APRS101 ch. 12: at a position", "APRS", b"!4903.50N/07201.75W_220/004g005t077r000p000P000h50b09900wRSW",
        plain("/_", **WEATHER, device="wRSW", **EARTHBOUND) | {"kind": "weather"}),
    Row("APRS101 ch. 12: dots are absent, 50 °F", "APRS", b"!4903.50N/07201.75W_220/004g005t050r000p001...",
        plain("/_", wind_deg=220, wind_ms=1.8, gust_ms=2.2, temperature_c=10.0, rain_last_hour_mm=0.0,
              rain_last_day_mm=0.25,
              comment="...", **EARTHBOUND) | {"kind": "weather"}),
    Row("APRS101 ch. 12: the absent ones left out", "APRS", b"=4903.50N/07201.75W_225/000g000t050r000p001h00b10138dU2k",
        plain("/_", wind_deg=225, wind_ms=0.0, gust_ms=0.0, temperature_c=10.0, rain_last_hour_mm=0.0,
              rain_last_day_mm=0.25,
              humidity_pct=100, pressure_hpa=1013.8, device="dU2k", **TALKING) | {"kind": "weather"}),
    Row("APRS101 ch. 12: everything absent", "APRS", b"!4903.50N/07201.75W_.../...g...t...r...p...P...h..b.....",
        plain("/_", **EARTHBOUND) | {"kind": "weather"}),
    Row("APRS101 ch. 12: blanks for dots", "APRS", b"!4903.50N/07201.75W_   /   g   t077r   p   P   h  b     ",
        plain("/_", temperature_c=25.0, **EARTHBOUND) | {"kind": "weather"}),
    Row("APRS101 ch. 12: with time", "APRS", b"@092345z4903.50N/07201.75W_220/004g005t-07r000p000P000h50b09900wRSW",
        plain("/_", **WEATHER | {"temperature_c": -21.7}, device="wRSW", **NINTH, **TALKING) | {"kind": "weather"}),
    # Chapter 9 has no unit but knots for a compressed speed (36.23 kn), though chapter 12 counts wind in mph elsewhere.
    Row("APRS101 ch. 12: compressed", "APRS", b"=/5L!!<*e7_7P[g005t077r000p000P000h50b09900wRSW",
        compressed("/_", **WEATHER | {"wind_deg": 88, "wind_ms": 18.6}, fix="current", device="wRSW", **TALKING)
        | {"kind": "weather"}),
    Row("APRS101 ch. 12: compressed, with time", "APRS",
        b"@092345z/5L!!<*e7_7P[g005t077r000p000P000h50b09900wRSW",
        compressed("/_", **WEATHER | {"wind_deg": 88, "wind_ms": 18.6}, fix="current", device="wRSW", **NINTH,
                   **TALKING) | {"kind": "weather"}),
    Row("APRS101 ch. 12: in an object", "APRS",
        b";BRENDA   *092345z4903.50N/07201.75W_220/004g005t077r000p000P000h50b09900wRSW",
        plain("/_", **WEATHER, device="wRSW", name="BRENDA", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 12: in a compressed object", "APRS",
        b";BRENDA   *092345z/5L!!<*e7_7P[g005t077r000p000P000h50b09900wRSW",
        compressed("/_", **WEATHER | {"wind_deg": 88, "wind_ms": 18.6}, fix="current", device="wRSW", name="BRENDA",
                   live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 12: sunlight below and above 1000 W/m²", "APRS", b"_10090556c220s004g005t077L456",
        {"kind": "weather", "time": "--10-09T05:56Z", "wind_deg": 220, "wind_ms": 1.8, "gust_ms": 2.2,
         "temperature_c": 25.0, "irradiance_wm2": 456}),
    Row("APRS101 ch. 12: sunlight above 1000 W/m²", "APRS", b"_10090556c220s004g005t077l234",
        {"kind": "weather", "time": "--10-09T05:56Z", "wind_deg": 220, "wind_ms": 1.8, "gust_ms": 2.2,
         "temperature_c": 25.0, "irradiance_wm2": 1234}),
    Row("APRS101 ch. 12: a second s is snow, 2 inches", "APRS", b"_10090556c220s004g005t077s002",
        {"kind": "weather", "time": "--10-09T05:56Z", "wind_deg": 220, "wind_ms": 1.8, "gust_ms": 2.2,
         "temperature_c": 25.0, "snow_last_day_mm": 50.8}),
    Row("APRS101 ch. 12: behind a wind, s is snow; a tenth of an inch", "APRS", b"!4903.50N/07201.75W_220/004t020s0.1",
        plain("/_", wind_deg=220, wind_ms=1.8, temperature_c=-6.7, snow_last_day_mm=2.5, **EARTHBOUND)
        | {"kind": "weather"}),
    Row("APRS101 ch. 12, from memory: the gauge's own count", "APRS", b"_10090556c220s004t077#012",
        {"kind": "weather", "time": "--10-09T05:56Z", "wind_deg": 220, "wind_ms": 1.8, "temperature_c": 25.0,
         "rain_counter": 12}),
    Row("APRS12, from memory: radiation 12·10³ nSv/h, battery 13.8 V", "APRS",
        b"!4903.50N/07201.75W_220/004t077X123V138",
        plain("/_", wind_deg=220, wind_ms=1.8, temperature_c=25.0, radiation_nsvh=12000, battery_v=13.8, **EARTHBOUND)
        | {"kind": "weather"}),
    Row("APRS101 ch. 12: the symbol alone is only a picture", "APRS", b"!4903.50N/07201.75W_Harbour office",
        plain("/_", comment="Harbour office", **EARTHBOUND)),
    Row("APRS101 ch. 12: the order varies, words follow", "APRS", b"_10090556t077b10138h50c220s004Wrack",
        {"kind": "weather", "time": "--10-09T05:56Z", "wind_deg": 220, "wind_ms": 1.8, "temperature_c": 25.0,
         "humidity_pct": 50, "pressure_hpa": 1013.8, "comment": "Wrack"}),
    # 150 kn, 200 kn, 980 hPa; 90, 30 and 40 nautical miles.
    Row("APRS101 ch. 12: storm", "APRS", b";BRENDA   *092345z4903.50N\\07201.75W@088/036/HC/150^200/0980>090&030%040",
        plain("\\@", course_deg=88, speed_kmh=66.7, storm="hurricane", wind_ms=77.2, gust_ms=102.9,
              pressure_hpa=980, hurricane_winds_km=166.68, storm_winds_km=55.56, gale_winds_km=74.08, name="BRENDA",
              live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 12: storm without whole gale", "APRS",
        b";BRENDA   *092345z4903.50N\\07201.75W@088/036/TS/050^065/0990>...&030",
        plain("\\@", course_deg=88, speed_kmh=66.7, storm="tropical-storm", wind_ms=25.7, gust_ms=33.4,
              pressure_hpa=990, storm_winds_km=55.56, name="BRENDA", live=True, **NINTH) | {"kind": "object"}),
    Row("APRS101 ch. 12: a tropical depression at a position", "APRS",
        b"!4903.50N\\07201.75W@088/036/TD/030^040/1000>000&010",
        plain("\\@", course_deg=88, speed_kmh=66.7, storm="tropical-depression", wind_ms=15.4, gust_ms=20.6,
              pressure_hpa=1000, hurricane_winds_km=0.0, storm_winds_km=18.52, **EARTHBOUND)),
    # Gust 4.9 km/h, direction 55/256, 71.8 °F, 1011.6 hPa, 28.4 %, 0.05 in, 0.0 km/h... fields as their makers ordered.
    Row("APRS101 ch. 12, from memory: raw record, packet form", "APRS",
        b"$ULTW0031003702CE0069----000086A00001011C00CC000000050000",
        {"kind": "weather", "wind_deg": 77, "gust_ms": 1.4, "temperature_c": 22.1, "humidity_pct": 28.4,
         "rain_today_mm": 1.27, "wind_ms": 0.0}),
    Row("APRS101 ch. 12, from memory: raw record, logging form", "APRS",
        b"!!006B00580000----2710028A01F40190000000000014001E",
        {"kind": "weather", "wind_deg": 124, "wind_ms": 0.8, "temperature_c": -17.8, "pressure_hpa": 1000.0,
         "indoor_temperature_c": 18.3, "humidity_pct": 50.0, "indoor_humidity_pct": 40.0, "rain_today_mm": 5.08}),
    Row("APRS101 ch. 12: raw record of an obsolete form", "APRS", b"#50B7500820082",
        unknown("a weather station's raw record, in an obsolete form")),
    Row("APRS101 ch. 12: raw record of the other obsolete form", "APRS", b"*7007600820082",
        unknown("a weather station's raw record, in an obsolete form")),
    Row("APRS101 ch. 12: no field behind the time", "APRS", b"_10090556", unknown("no weather field follows the time")),
    Row("APRS101 ch. 12: a storm's symbol without a storm", "APRS", b"!4903.50N\\07201.75W@088/036/none",
        plain("\\@", course_deg=88, speed_kmh=66.7, comment="/none", **EARTHBOUND)),
    Row("APRS101 ch. 12: letters for the time", "APRS", b"_1009abcdc220s004",
        unknown("a weather report without a position begins with eight digits of time; these are not")),
]  # fmt: skip

TELEMETRY = [
    Row("APRS101 ch. 13: five values and eight bits", "APRS", b"T#005,199,000,255,073,123,01101001",
        {"kind": "telemetry", "telemetry_sequence": 5, "analogue": [199, 0, 255, 73, 123], "digital": "01101001"}),
    Row("APRS101 ch. 13: MIC for the sequence, comma", "APRS", b"T#MIC,199,000,255,073,123,01101001",
        {"kind": "telemetry", "analogue": [199, 0, 255, 73, 123], "digital": "01101001"}),
    Row("APRS101 ch. 13: MIC for the sequence, no comma", "APRS", b"T#MIC199,000,255,073,123,01101001",
        {"kind": "telemetry", "analogue": [199, 0, 255, 73, 123], "digital": "01101001"}),
    Row("APRS101 ch. 13: a comment behind the bits", "APRS", b"T#005,199,000,255,073,123,01101001Balloon",
        {"kind": "telemetry", "telemetry_sequence": 5, "analogue": [199, 0, 255, 73, 123], "digital": "01101001",
         "comment": "Balloon"}),
    Row("common practice: decimals, a sign, a value left out, two left away", "APRS", b"T#101,12.5,-3,,",
        {"kind": "telemetry", "telemetry_sequence": 101, "analogue": [12.5, -3, None]}),
    Row("APRS101 ch. 13: no number", "APRS", b"T#005,abc,000,255,073,123,01101001",
        unknown("a value of the telemetry is no number")),
    Row("APRS101 ch. 13: names", "APRS", b":N0QBF-11 :PARM.Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV",
        {"kind": "message", "addressee": "N0QBF-11", "text": "PARM.Battery,Btemp,ATemp,Pres,Alt,Camra,Chut,Sun,10m,ATV",
         "telemetry_names": ["Battery", "Btemp", "ATemp", "Pres", "Alt", "Camra", "Chut", "Sun", "10m", "ATV"]}),
    Row("APRS101 ch. 13: units", "APRS", b":N0QBF-11 :UNIT.v/100,deg.F,deg.F,Mbar,Kft,Click,OPEN,on,on,hi",
        {"kind": "message", "addressee": "N0QBF-11", "text": "UNIT.v/100,deg.F,deg.F,Mbar,Kft,Click,OPEN,on,on,hi",
         "telemetry_units": ["v/100", "deg.F", "deg.F", "Mbar", "Kft", "Click", "OPEN", "on", "on", "hi"]}),
    Row("APRS101 ch. 13: coefficients", "APRS", b":N0QBF-11 :EQNS.0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18,1,2,3",
        {"kind": "message", "addressee": "N0QBF-11", "text": "EQNS.0,5.2,0,0,.53,-32,3,4.39,49,-32,3,18,1,2,3",
         "telemetry_coefficients": [[0, 5.2, 0], [0, 0.53, -32], [3, 4.39, 49], [-32, 3, 18], [1, 2, 3]]}),
    Row("APRS101 ch. 13: senses and title", "APRS", b":N0QBF-11 :BITS.10110000,N0QBF's Big Balloon",
        {"kind": "message", "addressee": "N0QBF-11", "text": "BITS.10110000,N0QBF's Big Balloon",
         "telemetry_senses": "10110000", "telemetry_title": "N0QBF's Big Balloon"}),
    Row("APRS101 ch. 13: coefficients that break off", "APRS", b":N0QBF-11 :EQNS.0,5.2,0,0,,",
        {"kind": "message", "addressee": "N0QBF-11", "text": "EQNS.0,5.2,0,0,,",
         "telemetry_coefficients": [[0, 5.2, 0]]}),
    Row("APRS101 ch. 13: no sequence", "APRS", b"T#,199,000",
        unknown("telemetry begins with T#, a sequence number and a comma")),
    Row("APRS101 ch. 13: no value at all", "APRS", b"T#005,", unknown("the telemetry holds no value")),
    Row("APRS101 ch. 13: senses that are none", "APRS", b":N0QBF-11 :BITS.high",
        {"kind": "message", "addressee": "N0QBF-11", "text": "BITS.high"}),
]  # fmt: skip

MESSAGES = [
    Row("APRS101 ch. 14: no acknowledgement wanted", "APRS", b":WU2Z     :Testing",
        {"kind": "message", "addressee": "WU2Z", "text": "Testing"}),
    Row("APRS101 ch. 14: acknowledgement wanted", "APRS", b":WU2Z     :Testing{003",
        {"kind": "message", "addressee": "WU2Z", "text": "Testing", "number": "003"}),
    Row("APRS101 ch. 14: to the mail gateway", "APRS", b":EMAIL    :msproul@ap.org Test email",
        {"kind": "message", "addressee": "EMAIL", "text": "msproul@ap.org Test email"}),
    Row("APRS101 ch. 14: acknowledged", "APRS", b":KB2ICI-14:ack003",
        {"kind": "message", "addressee": "KB2ICI-14", "acknowledges": "003"}),
    Row("APRS101 ch. 14: rejected", "APRS", b":KB2ICI-14:rej003",
        {"kind": "message", "addressee": "KB2ICI-14", "rejects": "003"}),
    Row("APRS101 ch. 14: a word that begins so", "APRS", b":KB2ICI-14:acknowledged, thanks",
        {"kind": "message", "addressee": "KB2ICI-14", "text": "acknowledged, thanks"}),
    Row("APRS11: reply-ack offered", "APRS", b":WU2Z     :Testing{MM}",
        {"kind": "message", "addressee": "WU2Z", "text": "Testing", "number": "MM"}),
    Row("APRS11: reply-ack given", "APRS", b":WU2Z     :Testing{MM}AA",
        {"kind": "message", "addressee": "WU2Z", "text": "Testing", "number": "MM", "acknowledges": "AA"}),
    Row("APRS11: acknowledged as reply-ack", "APRS", b":WU2Z     :ackMM}AA",
        {"kind": "message", "addressee": "WU2Z", "acknowledges": "MM"}),
    Row("APRS101 ch. 14: a brace in the words", "APRS", b":WU2Z     :set {a, b} now",
        {"kind": "message", "addressee": "WU2Z", "text": "set {a, b} now"}),
    Row("APRS101 ch. 14: bulletin", "APRS", b":BLN3     :Snow expected in Tampa RSN",
        {"kind": "bulletin", "addressee": "BLN3", "bulletin_type": "general", "line": "3",
         "text": "Snow expected in Tampa RSN"}),
    Row("APRS101 ch. 14: announcement", "APRS", b":BLNQ     :Mt St Helen digi will be QRT this weekend",
        {"kind": "bulletin", "addressee": "BLNQ", "bulletin_type": "announcement", "line": "Q",
         "text": "Mt St Helen digi will be QRT this weekend"}),
    Row("APRS101 ch. 14: group bulletin", "APRS", b":BLN4WX   :Stand by your snowplows",
        {"kind": "bulletin", "addressee": "BLN4WX", "bulletin_type": "group", "line": "4", "group": "WX",
         "text": "Stand by your snowplows"}),
    Row("APRS101 ch. 14: weather-service bulletin", "APRS", b":NWS-WARN :092010z,THUNDER_STORM,AR_ASHLEY,{S9JbA",
        {"kind": "bulletin", "addressee": "NWS-WARN", "bulletin_type": "weather-service",
         "text": "092010z,THUNDER_STORM,AR_ASHLEY,", "number": "S9JbA"}),
    Row("APRS101 ch. 14: an addressee not padded", "APRS", b":WU2Z:Testing",
        unknown("a message has an addressee of nine characters between colons")),
    Row("APRS101 ch. 14: addressed to nobody", "APRS", b":         :Testing",
        unknown("the message is addressed to nobody")),
]  # fmt: skip

QUERIES = [
    Row("APRS101 ch. 15: to every station", "APRS", b"?APRS?", {"kind": "query", "query": "APRS"}),
    Row("APRS101 ch. 15: to every station within 200 miles", "APRS", b"?APRS? 34.02,-117.15,0200",
        {"kind": "query", "query": "APRS", "area_latitude": 34.02, "area_longitude": -117.15,
         "area_radius_km": 321.87}),
    Row("APRS101 ch. 15: to every gateway", "APRS", b"?IGATE?", {"kind": "query", "query": "IGATE"}),
    Row("APRS101 ch. 15: to every weather station", "APRS", b"?WX?", {"kind": "query", "query": "WX"}),
    Row("APRS101 ch. 15: to one station", "APRS", b":KH2Z     :?APRSD",
        {"kind": "query", "query": "APRSD", "addressee": "KH2Z"}),
    Row("APRS101 ch. 15: have you heard", "APRS", b":KH2Z     :?APRSH N0QBF",
        {"kind": "query", "query": "APRSH", "addressee": "KH2Z", "text": "N0QBF"}),
    Row("APRS101 ch. 15: which way, in the other form", "APRS", b":KH2Z     :?PING?",
        {"kind": "query", "query": "PING", "addressee": "KH2Z"}),
    Row("APRS101 ch. 15: a question in words is a message", "APRS", b":KH2Z     :?are you there",
        {"kind": "message", "addressee": "KH2Z", "text": "?are you there"}),
    Row("APRS101 ch. 15: capabilities of a gateway", "APRS", b"<IGATE,MSG_CNT=43,LOC_CNT=14",
        {"kind": "capabilities", "capabilities": {"IGATE": "", "MSG_CNT": "43", "LOC_CNT": "14"}}),
    Row("APRS101 ch. 15: a question mark alone", "APRS", b"?", unknown("a query is a word between question marks")),
]  # fmt: skip

STATUSES = [
    Row("APRS101 ch. 16: text alone", "APRS", b">Net Control Center without timestamp",
        {"kind": "status", "text": "Net Control Center without timestamp"}),
    Row("APRS101 ch. 16: with time", "APRS", b">092345zNet Control Center",
        {"kind": "status", "time": "---09T23:45Z", "text": "Net Control Center"}),
    Row("APRS101 ch. 16: locator of six and symbol", "APRS", b">IO91SX/G",
        {"kind": "status", "locator": "IO91SX", "symbol": "/G"}),
    Row("APRS101 ch. 16: locator of four and symbol", "APRS", b">IO91/G",
        {"kind": "status", "locator": "IO91", "symbol": "/G"}),
    Row("APRS101 ch. 16: locator, symbol, text", "APRS", b">IO91SX/- My house",
        {"kind": "status", "locator": "IO91SX", "symbol": "/-", "text": "My house"}),
    Row("APRS101 ch. 16: beam heading 110°, 490 W", "APRS", b">IO91SX/- ^B7",
        {"kind": "status", "locator": "IO91SX", "symbol": "/-", "antenna_bearing_deg": 110, "power_w": 490}),
    Row("APRS101 ch. 16: beam behind text; colon is 1000 W", "APRS", b">Listening^9:",
        {"kind": "status", "text": "Listening", "antenna_bearing_deg": 90, "power_w": 1000}),
    # Four characters and the symbol X with the overlay S would read the same: a short locator takes no such symbol.
    Row("APRS101 ch. 16: text that only looks like a locator", "APRS", b">IO91SX is home",
        {"kind": "status", "text": "IO91SX is home"}),
    Row("APRS101 ch. 16: empty", "APRS", b">", {"kind": "status"}),
    Row("APRS101 ch. 16: a beam of no power is none", "APRS", b">Home ^Z0", {"kind": "status", "text": "Home ^Z0"}),
]  # fmt: skip

OTHERS = [
    Row("APRS101 ch. 17: third party", "APRS", b"}WU2Z>APRS,NET,N0QBF*:>Net Control Center",
        {"kind": "status", "text": "Net Control Center"}),
    Row("APRS101 ch. 17: third party, the inner destination counts", "APRS", b"}WU2Z>S32UVT,NET,N0QBF*:" + _MIC_E,
        mic_e()),
    Row("APRS101 ch. 17: third party in third party", "APRS", b"}WU2Z>APRS,NET,N0QBF*:}N0QBF>APRS,NET,WU2Z*:>Hello",
        {"kind": "status", "text": "Hello"}),
    Row("APRS101 ch. 17: third party, malformed", "APRS", b"}WU2Z,APRS:>Hello",
        unknown("no header and information stand behind the mark of third-party traffic")),
    Row("APRS101 ch. 18: user-defined", "APRS", b"{Q1qwerty",
        {"kind": "user-defined", "user": "Q", "user_type": "1", "text": "qwerty"}),
    Row("APRS101 ch. 18: experimental", "APRS", b"{{zasdfg",
        {"kind": "user-defined", "user": "{", "user_type": "z", "text": "asdfg"}),
    Row("APRS101 ch. 18: no format named", "APRS", b"{Q",
        unknown("a user-defined report begins with two characters that name its format")),
]  # fmt: skip


def nmea(symbol: str | None = None, **more: Any) -> dict[str, Any]:  # noqa: ANN401 - any published value
    """A place from a sentence; the symbol only where the destination names one."""
    return {"kind": "position", "written": "raw-nmea", **({"symbol": symbol} if symbol else {}), **more}


SENTENCES = [
    Row("APRS101 ch. 5 and 8: RMC", "APRS",
        b"$GPRMC,063909,A,3349.4302,N,11700.3721,W,43.022,89.3,291099,13.6,E*52",
        nmea(latitude=33.823837, longitude=-117.006202, speed_kmh=79.7, course_deg=89.3, time="1999-10-29T06:39:09Z")),
    Row("APRS101 ch. 8: GGA", "APRS", b"$GPGGA,102705,5157.9762,N,00029.3256,W,1,04,2.0,75.7,M,47.6,M,,*62",
        nmea(latitude=51.96627, longitude=-0.48876, altitude_m=75.7, time="T10:27:05Z")),
    Row("APRS101 ch. 8: GLL without checksum", "APRS", b"$GPGLL,2554.459,N,08020.187,W,154027.281,A",
        nmea(latitude=25.90765, longitude=-80.33645, time="T15:40:27Z")),
    Row("APRS101 ch. 8: VTG, no place", "APRS", b"$GPVTG,318.7,T,,M,35.1,N,65.0,K*69",
        {"kind": "position", "course_deg": 318.7, "speed_kmh": 65.0}),
    Row("NMEA 0183 handbooks, from memory: WPL", "APRS", b"$GPWPL,4917.16,N,12310.64,W,003*65",
        nmea(latitude=49.286, longitude=-123.177333, name="003")),
    Row("NMEA 0183 handbooks, from memory: GLL", "APRS", b"$GPGLL,4916.45,N,12311.12,W,225444,A,*1D",
        nmea(latitude=49.274167, longitude=-123.185333, time="T22:54:44Z")),
    Row("NMEA 0183 handbooks, from memory: RMC", "APRS",
        b"$GPRMC,225446,A,4916.45,N,12311.12,W,000.5,054.7,191194,020.3,E*68",
        nmea(latitude=49.274167, longitude=-123.185333, speed_kmh=0.9, course_deg=54.7, time="1994-11-19T22:54:46Z")),
    Row("NMEA 0183 handbooks, from memory: GGA", "APRS",
        b"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47",
        nmea(latitude=48.1173, longitude=11.516667, altitude_m=545.4, time="T12:35:19Z")),
    Row("NMEA 0183: a checksum that does not hold", "APRS",
        b"$GPRMC,063909,A,3349.4302,N,11700.3721,W,43.022,89.3,291099,13.6,E*53",
        unknown("the sentence's checksum does not hold")),
    Row("NMEA 0183: no fix", "APRS", b"$GPRMC,063909,V,,,,,,,291099,,",
        unknown("the receiver that made the sentence had no fix")),
    Row("APRS101 ch. 5: a sentence that gives no place", "APRS", b"$GPGSA,A,3,04,05,,09,12,,,24,,,,,2.5,1.3,2.1*39",
        unknown("the sentence is of a type that gives no place")),
    Row("APRS101 ch. 20: a car by the destination", "GPSMV", b"$GPGLL,2554.459,N,08020.187,W",
        nmea("/>", latitude=25.90765, longitude=-80.33645)),
    Row("APRS101 ch. 20: the same by its number", "GPSC30", b"$GPGLL,2554.459,N,08020.187,W",
        nmea("/>", latitude=25.90765, longitude=-80.33645)),
    Row("APRS101 ch. 20: from the alternate table, by its number", "GPSE87", b"$GPGLL,2554.459,N,08020.187,W",
        nmea("\\w", latitude=25.90765, longitude=-80.33645)),
    Row("APRS101 ch. 20: a digit over a repeater's star", "SPCOD3", b"$GPGLL,2554.459,N,08020.187,W",
        nmea("3#", latitude=25.90765, longitude=-80.33645)),
    Row("NMEA 0183: GGA without a fix", "APRS", b"$GPGGA,102705,5157.9762,N,00029.3256,W,0,04,2.0,75.7,M,47.6,M,,",
        unknown("the receiver that made the sentence had no fix")),
    Row("NMEA 0183: GLL without a fix", "APRS", b"$GPGLL,2554.459,N,08020.187,W,154027.281,V",
        unknown("the receiver that made the sentence had no fix")),
    Row("NMEA 0183: VTG of one who stands", "APRS", b"$GPVTG,,T,,M,,N,,K",
        unknown("the sentence gives neither course nor speed")),
    Row("NMEA 0183: a sentence broken off", "APRS", b"$GPRMC,063909,A,3349.4302,N", unknown("the sentence breaks off")),
    Row("NMEA 0183: no digits for a place", "APRS", b"$GPGLL,,N,,W", unknown("the sentence gives no place")),
    Row("NMEA 0183: beyond the pole", "APRS", b"$GPGLL,9054.459,N,08020.187,W",
        unknown("the position lies beyond the pole or the date line")),
    Row("APRS101 ch. 5: a dollar alone", "APRS", b"$",
        unknown("it is neither a navigation receiver's sentence nor a weather station's record")),
]  # fmt: skip

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
    Row("Base91 Comment Telemetry: no value, so text", "APRS", b"!4903.50N/07201.75W-|ss|",
        plain("/-", comment="|ss|", **EARTHBOUND)),
    Row("Base91 Comment Telemetry: with Mic-E", "S32UVT", _MIC_E + b'"4T}Hello|!!!"|',
        mic_e(altitude_m=61.0, comment="Hello", telemetry_sequence=0, analogue=[1])),
    Row("Base91 Comment Telemetry: in an object", "APRS", b";LEADER   *092345z4903.50N/07201.75W>|!#!!|",
        plain("/>", name="LEADER", live=True, telemetry_sequence=2, analogue=[0], **NINTH) | {"kind": "object"}),
    Row("APRS12: frequency, tone, offset, range", "APRS", b"!4903.50N/07201.75Wr146.940MHz T107 -060 R25m Hill",
        plain("/r", frequency_mhz=146.94, tone_hz=107, frequency_offset_mhz=-0.6, voice_range_km=40.23, comment="Hill",
              **EARTHBOUND)),
    Row("APRS12: frequency alone", "APRS", b"!4903.50N/07201.75W>145.500MHz",
        plain("/>", frequency_mhz=145.5, **EARTHBOUND)),
    Row("APRS12, from memory: digital squelch, range in km", "APRS", b"!4903.50N/07201.75Wr439.125MHz D023 -760 R40k",
        plain("/r", frequency_mhz=439.125, tone_code="023", frequency_offset_mhz=-7.6, voice_range_km=40.0,
              **EARTHBOUND)),
    Row("APRS12, from memory: microwaves by letter", "APRS", b"!4903.50N/07201.75WrA96.000MHz",
        plain("/r", frequency_mhz=1296.0, **EARTHBOUND)),
    Row("APRS12, from memory: tone burst", "APRS", b"!4903.50N/07201.75Wr145.600MHz 1750 -060",
        plain("/r", frequency_mhz=145.6, tone_hz=1750, frequency_offset_mhz=-0.6, **EARTHBOUND)),
]  # fmt: skip

ROWS = [
    *DATA_TYPES,
    *TIMES_AND_PLACES,
    *EXTENSIONS,
    *POSITIONS,
    *COMPRESSED,
    *MIC_E,
    *OBJECTS,
    *WEATHER_REPORTS,
    *TELEMETRY,
    *MESSAGES,
    *QUERIES,
    *STATUSES,
    *OTHERS,
    *SENTENCES,
    *ADDENDA,
]

SCHEMA = Draft202012Validator(load_schema())


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_a_worked_example_means_what_its_source_says(row: Row) -> None:
    assert to_object(read(row.destination, row.information)) == row.expected


@pytest.mark.parametrize("row", ROWS, ids=[row.source for row in ROWS])
def test_the_object_of_a_worked_example_holds_to_the_schema_and_can_be_told(row: Row) -> None:
    report = read(row.destination, row.information)
    SCHEMA.validate(to_object(report))
    told = describe(report)
    assert all(label and text for label, text in told)
    assert ("kind", row.expected["kind"]) in told


def test_there_are_as_many_examples_as_promised_and_none_twice() -> None:
    assert len(ROWS) >= 120
    assert len({row.source for row in ROWS}) == len(ROWS)


def test_the_examples_show_every_kind_and_every_field_of_the_schema() -> None:
    schema = load_schema()
    added_by_others = {"distance_km", "bearing_deg", "relayed_by", "channels"}
    shown = {name for row in ROWS for name in row.expected}
    assert shown == set(schema["properties"]) - added_by_others
    assert {row.expected["kind"] for row in ROWS} == set(schema["properties"]["kind"]["enum"])
