"""Sentences, judged by a general NMEA library (pynmea2) over thousands of generated ones."""

import random
from typing import Any

import pynmea2
import pytest

from gateway.reports import read as read_report
from gateway.reports import to_object
from gateway.reports.nmea import checksum
from tests.reports import encoders

HOW_MANY = 1500


def place(chance: random.Random) -> str:
    """Four fields, with as many decimals of a minute as receivers give."""
    decimals = chance.randint(1, 6)
    width = 3 + decimals
    north, east = chance.uniform(0, 59.9), chance.uniform(0, 59.9)
    return (
        f"{chance.randint(0, 89):02}{north:0{width}.{decimals}f},{chance.choice('NS')},"
        f"{chance.randint(0, 179):03}{east:0{width}.{decimals}f},{chance.choice('EW')}"
    )


def clock(chance: random.Random) -> str:
    return f"{chance.randint(0, 23):02}{chance.randint(0, 59):02}{chance.randint(0, 59):02}" + chance.choice(
        ["", ".25"]
    )


def date(chance: random.Random) -> str:
    return f"{chance.randint(1, 28):02}{chance.randint(1, 12):02}{chance.randint(0, 68):02}"


def generated(kind: str, chance: random.Random) -> bytes:
    talker = chance.choice(["GP", "GN", "GL", "GA"])
    match kind:
        case "RMC":
            body = f"{clock(chance)},A,{place(chance)},{chance.uniform(0, 900):.2f},{chance.uniform(0, 360):.1f}"
            fields = f"{talker}RMC,{body},{date(chance)},,"
        case "GGA":
            fields = f"{talker}GGA,{clock(chance)},{place(chance)},1,08,0.9,{chance.uniform(-400, 9000):.1f},M,46.9,M,,"
        case "GLL":
            fields = f"{talker}GLL,{place(chance)},{clock(chance)},A"
        case _:
            fields = f"{talker}WPL,{place(chance)},BUOY{chance.randint(0, 999)}"
    return encoders.sentence(fields)


def judged(sentence: bytes) -> dict[str, Any]:
    """What the library makes of `sentence`, in our published form."""
    theirs = pynmea2.parse(sentence.decode(), check=True)
    if isinstance(theirs, pynmea2.types.talker.WPL):  # it leaves a waypoint's coordinates as they were written
        north, east = pynmea2.nmea_utils.dm_to_sd(theirs.lat), pynmea2.nmea_utils.dm_to_sd(theirs.lon)
        return {
            "latitude": -north if theirs.lat_dir == "S" else north,
            "longitude": -east if theirs.lon_dir == "W" else east,
            "name": theirs.waypoint_id,
        }
    said: dict[str, Any] = {"latitude": theirs.latitude, "longitude": theirs.longitude}
    if isinstance(theirs, pynmea2.types.talker.RMC):
        said |= {"speed_kmh": float(theirs.spd_over_grnd) * 1.852, "course_deg": float(theirs.true_course)}
        said["time"] = f"{theirs.datetime:%Y-%m-%dT%H:%M:%SZ}"
    elif isinstance(theirs, pynmea2.types.talker.GGA):
        said |= {"altitude_m": theirs.altitude, "time": f"{theirs.timestamp:T%H:%M:%SZ}"}
    else:
        said["time"] = f"{theirs.timestamp:T%H:%M:%SZ}"
    return said


@pytest.mark.parametrize("kind", ["RMC", "GGA", "GLL", "WPL"])
def test_a_sentence_means_what_the_library_says(kind: str) -> None:
    chance = random.Random(kind)
    for _ in range(HOW_MANY):
        sentence = generated(kind, chance)
        ours = to_object(read_report("APRS", sentence))
        theirs = judged(sentence)
        assert ours["written"] == "raw-nmea"
        assert set(ours) - {"kind", "written"} == set(theirs)
        for name, value in theirs.items():
            tolerance = 5.1e-7 if name in {"latitude", "longitude"} else 0.051
            assert ours[name] == (value if isinstance(value, str) else pytest.approx(value, abs=tolerance))


def test_a_checksum_with_any_one_bit_turned_is_refused() -> None:
    sentence = encoders.sentence("GPGLL,5836.00,N,00355.00,W,120000,A")
    assert to_object(read_report("APRS", sentence))["kind"] == "position"
    for place_in_sentence in range(7, len(sentence) - 3):
        for bit in range(8):
            turned = bytearray(sentence)
            turned[place_in_sentence] ^= 1 << bit
            assert to_object(read_report("APRS", bytes(turned)))["kind"] == "unknown"


def test_the_checksum_is_the_exclusive_or() -> None:
    """NMEA 0183; the handbook sentence $GPGLL,4916.45,N,12311.12,W,225444,A,*1D, from memory."""
    assert checksum(b"GPGLL,4916.45,N,12311.12,W,225444,A,") == 0x1D
    assert checksum(b"") == 0


def published(fields: str) -> dict[str, Any]:
    return to_object(read_report("APRS", encoders.sentence(fields)))


# Ours, after NMEA 0183: its numbers have as many digits as their makers like, and any field may be empty.
@pytest.mark.parametrize(
    ("place", "latitude", "longitude"),
    [
        ("5836,N,00355,W", 58.6, -3.916667),
        ("5836.,N,00355.,W", None, None),
        ("5836.5,N,00355.5,E", 58.608333, 3.925),
        ("5836.123456789,S,00355.123456789,E", -58.602058, 3.918724),
        ("5836.1234567891,N,00355.1,W", None, None),
        ("5836.1,N,00355.1234567891,W", None, None),
        ("5860,N,00360,W", 59.0, -4.0),
        ("5860.0,N,00360.000000000,W", 59.0, -4.0),
        ("5860.1,N,00355.1,W", None, None),
        ("5836.1,N,00361.0,W", None, None),
        ("9000.0,N,18000.0,E", 90.0, 180.0),
        ("9000.1,N,18000.0,E", None, None),
        ("9000.0,S,18000.1,W", None, None),
        ("5836.1,E,00355.1,W", None, None),
        ("5836.1,N,00355.1,N", None, None),
        ("5836.1,N,00355.1,", None, None),
        ("836.1,N,00355.1,W", None, None),
        ("5836.1,N,0355.1,W", None, None),
    ],
)
def test_a_place_has_two_or_three_digits_of_degrees_and_minutes_to_sixty(
    place: str, latitude: float | None, longitude: float | None
) -> None:
    report = published(f"GPGLL,{place}")
    assert (report.get("latitude"), report.get("longitude")) == (latitude, longitude)


@pytest.mark.parametrize(
    ("course", "knots", "course_deg", "speed_kmh"),
    [
        ("0", "0", 0.0, 0.0),
        ("360.0", "1", 360.0, 1.9),
        ("360.1", "1", None, 1.9),
        ("-0.1", "1", None, 1.9),
        ("90", "-0.1", 90.0, None),
        ("90.", "10.", 90.0, 18.5),
        (".5", ".5", 0.5, 0.9),
        ("", "10", None, 18.5),
        ("90", "", 90.0, None),
        ("+90", "10", None, 18.5),
        ("90", "1e3", 90.0, None),
        ("0000000090", "10", None, 18.5),
        ("90.0000000001", "10", None, 18.5),
        ("90.000000001", "0.123456789", 90.0, 0.2),
        (".0000000001", "10", None, 18.5),
        (".", "10", None, 18.5),
    ],
)
def test_a_course_and_a_speed_are_numbers_that_a_compass_and_a_log_show(
    course: str, knots: str, course_deg: float | None, speed_kmh: float | None
) -> None:
    report = published(f"GPRMC,063909,A,5836.00,N,00355.00,W,{knots},{course},290626,,,A")
    assert report["latitude"] == 58.6
    assert (report.get("course_deg"), report.get("speed_kmh")) == (course_deg, speed_kmh)


@pytest.mark.parametrize(("altitude", "metres"), [("-12.5", -12.5), ("0", 0.0), ("", None), ("high", None)])
def test_an_altitude_is_a_number_of_metres(altitude: str, metres: float | None) -> None:
    assert published(f"GPGGA,102705,5836.00,N,00355.00,W,1,04,2.0,{altitude},M").get("altitude_m") == metres


def test_an_altitude_in_the_words_goes_before_that_of_the_sentence() -> None:
    sentence = encoders.sentence("GPGGA,102705,5836.00,N,00355.00,W,1,04,2.0,75.7,M")
    assert to_object(read_report("APRS", sentence + b" Hello"))["altitude_m"] == 75.7
    assert to_object(read_report("APRS", sentence + b" /A=000100"))["altitude_m"] == 30.5


@pytest.mark.parametrize("satellites", ["00", "0", ""])
def test_a_gga_sentence_has_a_fix_whatever_it_says_of_satellites(satellites: str) -> None:
    assert published(f"GPGGA,102705,5836.00,N,00355.00,W,1,{satellites},2.0,75.7,M")["kind"] == "position"


@pytest.mark.parametrize("quality", ["0", "", " "])
def test_a_gga_sentence_of_quality_nought_has_no_fix(quality: str) -> None:
    assert published(f"GPGGA,102705,5836.00,N,00355.00,W,{quality},04,2.0,75.7,M")["kind"] == "unknown"


# The last year of the one century and the first of the other: the satellites' calendar begins in 1980.
@pytest.mark.parametrize(
    ("date", "written"),
    [
        ("010180", "1980-01-01T"), ("311279", "2079-12-31T"), ("290200", "2000-02-29T"), ("290201", None),
        ("310424", None), ("320124", None), ("000124", None), ("010024", None), ("011324", None),
        ("", "T"), ("0101", "T"),
    ],
)  # fmt: skip
def test_a_date_is_one_that_a_calendar_holds(date: str, written: str | None) -> None:
    time = published(f"GPRMC,235959.999,A,5836.00,N,00355.00,W,1,2,{date},,,A").get("time")
    assert time == (None if written is None else f"{written}23:59:59Z")


@pytest.mark.parametrize(
    ("clock", "written"),
    [
        ("000000", "T00:00:00Z"),
        ("235960", "T23:59:60Z"),
        ("235961", None),
        ("240000", None),
        ("236000", None),
        ("2359", None),
    ],
)  # fmt: skip
def test_a_time_is_one_that_a_clock_shows(clock: str, written: str | None) -> None:
    assert published(f"GPGLL,5836.00,N,00355.00,W,{clock},A").get("time") == written


@pytest.mark.parametrize(
    ("fields", "fewest"),
    [
        ("GPRMC,063909,A,5836.00,N,00355.00,W,43.022,89.3,291099", 10),
        ("GPGGA,102705,5836.00,N,00355.00,W,1,04,2.0,75.7", 10),
        ("GPGLL,5836.00,N,00355.00,W", 5),
        ("GPWPL,5836.00,N,00355.00,W,003", 6),
        ("GPVTG,318.7,T,,M,35.1", 6),
    ],
)
def test_a_sentence_has_as_many_fields_as_it_needs(fields: str, fewest: int) -> None:
    parts = fields.split(",")
    assert len(parts) == fewest
    assert published(fields)["kind"] == "position"
    assert published(",".join(parts[:-1]))["because"] == "the sentence breaks off"


def test_words_follow_a_checksum_of_two_digits_only() -> None:
    sentence = encoders.sentence("GPGLL,5836.00,N,00355.00,W,120000,A")
    assert to_object(read_report("APRS", sentence + b"Hello"))["comment"] == "Hello"
    assert to_object(read_report("APRS", sentence.lower().replace(b"gpgll", b"GPGLL")))["kind"] == "unknown"
    assert to_object(read_report("APRS", sentence[:-1]))["kind"] == "unknown"


def test_a_sentence_without_a_checksum_may_end_in_spaces() -> None:
    assert to_object(read_report("APRS", b"$GPGLL,5836.00,N,00355.00,W,120000,A  "))["time"] == "T12:00:00Z"
    assert to_object(read_report("APRS", b"$GPWPL,5836.00,N,00355.00,W,003  "))["name"] == "003"
