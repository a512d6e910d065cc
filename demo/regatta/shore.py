"""The shore, the committee boat and the weather buoy: what is said seldom.

Each kind of report is heard within the first twenty seconds, then every minute or so.
"""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from random import Random

from demo.regatta import information as write
from demo.regatta.air import (
    BUOY,
    GENERAL,
    HARBOUR_REPEATER,
    HEADLAND_REPEATER,
    HF,
    HOUSE,
    POWER_BOAT,
    REPEATER,
    WEATHER_STATION,
    YACHT,
    OnAir,
    Says,
    Turn,
    on_air,
    repeated,
)
from demo.regatta.fleet import RESCUE_LAUNCH
from demo.regatta.information import Fix
from demo.regatta.sailing import HARBOUR, HEADLAND, MARK_1, MARK_2, START, Yacht, moved
from gateway.frames.header import Header

COMMITTEE_BOAT = "QC2CBT-8"
WEATHER_BUOY = "QE9BUY-13"
HARBOUR_OFFICE = "QF4HRB"

EVERY = 55.0
"""Seconds."""


def shore(chance: Random, start: datetime) -> Iterator[Turn]:
    """All that does not race."""
    for said in (_places(), _race(start), _buoy(), _words()):
        for first, callsign, compose in said:
            yield Turn(first, EVERY, repeated(chance, callsign, _timed(compose, start)))
    yield Turn(4.6, 20.0, _by_hf)


Saying = tuple[float, str, Callable[[datetime], str]]
"""When it is said first, in seconds after the gun; by whom; and what, at a given time."""


def _timed(compose: Callable[[datetime], str], start: datetime) -> Says:
    return lambda seconds: (GENERAL, compose(start + timedelta(seconds=seconds)))


def _places() -> list[Saying]:
    return [
        (1.6, HARBOUR_REPEATER, lambda _: f"!{write.place(HARBOUR, REPEATER)}PHG3230 Harbour repeater"),
        (2.1, HEADLAND_REPEATER, lambda _: f"!{write.place(HEADLAND, REPEATER)}PHG5460 Headland repeater"),
        (2.4, HARBOUR_OFFICE, lambda _: f"={write.place(HARBOUR, HOUSE, blanked=2)}145.400MHz Harbour office"),
        (
            3.1,
            COMMITTEE_BOAT,
            lambda time: f"/{write.day_hours_minutes(time)}{write.place(START, POWER_BOAT)}At anchor",
        ),
    ]


def _race(start: datetime) -> list[Saying]:
    pin_end = moved(START, 0, 180, START)
    return [
        (3.6, COMMITTEE_BOAT, lambda _: write.message("BLN1", f"Race 1: first gun {start:%H%M} UTC, course red")),
        (4.2, COMMITTEE_BOAT, lambda time: _mark("MARK 1", MARK_1, time)),
        (4.9, COMMITTEE_BOAT, lambda time: _mark("MARK 2", MARK_2, time)),
        (5.3, COMMITTEE_BOAT, lambda _: f")PIN END!{write.place(pin_end, BUOY)}Start line"),
        (8.8, COMMITTEE_BOAT, lambda _: write.message(RESCUE_LAUNCH, "Mark 1 drags, please stand by", "11")),
        (9.5, RESCUE_LAUNCH, lambda _: write.message(COMMITTEE_BOAT, "ack11")),
        (10.8, COMMITTEE_BOAT, lambda time: f">{write.day_hours_minutes(time)}Race 1 under way"),
        (13.7, COMMITTEE_BOAT, lambda time: _mark("OLD MARK", MARK_2, time, live=False)),
        (14.3, "QB2CDE-8", lambda _: write.message(COMMITTEE_BOAT, "rej12")),
        (14.8, COMMITTEE_BOAT, lambda _: write.message("BLNQ", "Prize giving 1900 in the harbour hall")),
    ]


def _buoy() -> list[Saying]:
    return [
        (5.8, WEATHER_BUOY, _weather_at_the_buoy),
        (6.4, WEATHER_BUOY, lambda _: write.message(WEATHER_BUOY, "PARM.Battery,Wave,Sea,Light,Tilt,Lamp,Hatch")),
        (6.9, WEATHER_BUOY, lambda _: write.message(WEATHER_BUOY, "UNIT.V,m,deg.C,W/m2,deg,on,open")),
        (7.4, WEATHER_BUOY, lambda _: write.message(WEATHER_BUOY, "EQNS.0,.1,0,0,.02,0,0,.1,-5,0,5,0,0,1,-90")),
        (7.9, WEATHER_BUOY, lambda _: write.message(WEATHER_BUOY, "BITS.11000000,Wrackholm Bay buoy")),
        (8.4, WEATHER_BUOY, _telemetry_of_the_buoy),
        (9.9, "QH7STN-13", _weather_at_the_slip),
        (12.6, WEATHER_BUOY, _position_of_the_buoy),
        (13.1, WEATHER_BUOY, lambda _: "{{QWave=1.4m period=6s"),
    ]


def _words() -> list[Saying]:
    return [
        (10.3, HARBOUR_OFFICE, lambda _: ">Visitors: berth on the east wall"),
        (11.2, "QX2GAT-10", lambda _: "<IGATE,MSG_CNT=3,LOC_CNT=17"),
        (11.6, HARBOUR_OFFICE, lambda _: write.message(RESCUE_LAUNCH, "?APRSP")),
        (15.2, HARBOUR_OFFICE, lambda _: ">IO88AO/- Harbour office"),
        (15.7, "QH3OLD-1", lambda _: "Plain text that follows no form of the standard"),
    ]


def _mark(name: str, fix: Fix, time: datetime, *, live: bool = True) -> str:
    return f";{name:<9}{'*' if live else '_'}{write.day_hours_minutes(time)}{write.place(fix, BUOY)}Regatta"


def _wind(time: datetime) -> tuple[int, float]:
    """From where in degrees, and how strong in knots: it veers and freshens through the hour."""
    return 225 + time.minute // 3, 11 + time.minute % 20 / 4


def _weather_at_the_buoy(time: datetime) -> str:
    wind_deg, knots = _wind(time)
    return f"!{write.place(MARK_2, WEATHER_STATION)}{write.weather(wind_deg, knots, 12.5, 1013.4)}"


def _weather_at_the_slip(time: datetime) -> str:
    wind_deg, knots = _wind(time)
    return write.weather_without_position(time, wind_deg, knots * 0.7, 14.0, 1013.1)


def _telemetry_of_the_buoy(time: datetime) -> str:
    return write.telemetry(time.hour * 60 + time.minute, (128, 70, 165, 88, 93), "10000000")


def _position_of_the_buoy(time: datetime) -> str:
    values = (1280, 700, 1650 + time.minute)
    return f"!{write.place(MARK_2, BUOY)}Weather buoy {write.telemetry_in_comment(time.minute, values)}"


def _by_hf(seconds: float) -> Iterator[OnAir]:
    """A yacht far out is heard through a station that relays her from another network: a third-party frame."""
    far = Yacht(7.0, 500).fix(seconds)
    inside = f"QJ3FAR-9>{GENERAL},QNET,QX9GAT*:!{write.place(far, YACHT)}{write.movement(far)} Wheatear"
    yield on_air(seconds, Header("QX9GAT", GENERAL), f"}}{inside}", HF)
