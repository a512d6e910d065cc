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
