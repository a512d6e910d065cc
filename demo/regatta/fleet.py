"""The boats. Each says where it is every few seconds, more often than real ones, so that a short demo shows life."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from random import Random

from demo.regatta import information as write
from demo.regatta.air import GENERAL, POWER_BOAT, YACHT, Said, Says, Turn, repeated
from demo.regatta.sailing import HARBOUR, MARK_1, START, Patrol, Yacht

RESCUE_LAUNCH = "QA1BCD-9"

IN_SERVICE, COMMITTED, EMERGENCY = "101", "011", "000"
"""Message bits of a Mic-E report (APRS101 chapter 10)."""

DRILL_BEGINS, DRILL_LASTS, DRILL_EVERY = 12.0, 9.0, 300.0
"""When the rescue launch practises a call for help: seconds after the gun, how long, how often."""

Style = Callable[[Yacht, str, datetime], Says]


def fleet(chance: Random, start: datetime) -> Iterator[Turn]:
    """All that moves."""
    yachts: list[tuple[str, str, Yacht, Style]] = [
        ("QA1FGH-8", "Kittiwake", Yacht(6.2, 0), _by_mic_e),
        ("QB2CDE-8", "Fulmar", Yacht(6.0, 40), _by_compressed),
        ("QB3HJK-8", "Gannet", Yacht(6.4, 70), _by_mic_e),
        ("QC4LMN-8", "Razorbill", Yacht(5.6, 15), _by_plain),
        ("QE5PQR-8", "Turnstone", Yacht(5.9, 95), _by_compressed),
        ("QF6STU-8", "Dunlin", Yacht(5.3, 120), _by_mic_e),
        ("QG7VWX-8", "Shearwater", Yacht(6.1, 55), _by_plain_with_time),
    ]
    for place, (callsign, name, yacht, style) in enumerate(yachts):
        yield Turn(0.3 + 0.8 * place, 6.5, repeated(chance, callsign, style(yacht, name, start)))
    yield Turn(1.0, 4.5, repeated(chance, RESCUE_LAUNCH, _launch))
    yield Turn(0.8, 1.1, repeated(chance, "QB8TLK-7", _talkative_tracker, heard_again=0.1))
    yield Turn(2.7, 14.0, repeated(chance, "QG2TND-7", _tender(start)))


def _by_mic_e(yacht: Yacht, name: str, start: datetime) -> Says:
    del start
    return lambda seconds: write.mic_e(yacht.fix(seconds), YACHT, IN_SERVICE, f"{write.mic_e_altitude(3)}{name}")


def _by_compressed(yacht: Yacht, name: str, start: datetime) -> Says:
    del start
    return lambda seconds: (GENERAL, f"!{write.compressed(yacht.fix(seconds), YACHT)}{name}")


def _by_plain(yacht: Yacht, name: str, start: datetime) -> Says:
    del start

    def says(seconds: float) -> Said:
        fix = yacht.fix(seconds)
        return GENERAL, f"={write.place(fix, YACHT)}{write.movement(fix)}/A=000010 {name}"

    return says


def _by_plain_with_time(yacht: Yacht, name: str, start: datetime) -> Says:
    def says(seconds: float) -> Said:
        fix = yacht.fix(seconds)
        time = write.hours_minutes_seconds(start + timedelta(seconds=seconds))
        return GENERAL, f"@{time}{write.place(fix, YACHT)}{write.movement(fix)} {name} !W52!"

    return says


def _launch(seconds: float) -> Said:
    fix = Patrol(MARK_1, 350, 14).fix(seconds)
    if DRILL_BEGINS <= seconds % DRILL_EVERY < DRILL_BEGINS + DRILL_LASTS:
        return write.mic_e(fix, POWER_BOAT, EMERGENCY, "DRILL DRILL DRILL man overboard exercise")
    return write.mic_e(fix, POWER_BOAT, COMMITTED, "Wrackholm Rescue")


def _talkative_tracker(seconds: float) -> Said:
    """Someone's tracker speaks every second, and never says the same."""
    fix = Patrol(HARBOUR, 60, 3).fix(seconds)
    return GENERAL, f"!{write.place(fix, POWER_BOAT)}{write.movement(fix)} tracker {int(seconds * 10)}"


def _tender(start: datetime) -> Says:
    patrol = Patrol(START, 200, 8)
    return lambda seconds: (
        GENERAL,
        write.recommended_minimum_sentence(start + timedelta(seconds=seconds), patrol.fix(seconds)),
    )
