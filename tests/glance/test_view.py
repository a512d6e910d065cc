from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest

from gateway.glance.view import EMERGENCY_HOLDS, Known, View, view
from tests.glance.scenarios import CALLSIGN, LATER, NOON, SCENARIOS, WELL, health, heard


def seen(name: str, now: datetime = LATER) -> View:
    return view(SCENARIOS[name](), now)


def test_a_station_is_told_with_distance_direction_and_age() -> None:
    station = seen("busy").station
    assert station is not None
    assert (station.source, station.picture) == ("QA1FGH-8", "power boat")
    assert station.facts == ("5.5 km NE (45°)", "5.5 km NE")
    assert station.age[0] == "7 min ago"


def test_a_station_that_tells_weather_is_told_with_that() -> None:
    station = seen("weather").station
    assert station is not None
    assert station.facts == ("13.9 °C, 4 m/s SW, gusts 11", "13.9 °C, 4 m/s SW", "13.9 °C")
    assert station.words == "1.3 km NE, 82 %, 1013 hPa, rain 2.5 mm/h"


@pytest.mark.parametrize(
    ("seconds", "told"),
    [(-5, "just now"), (59, "just now"), (60, "1 min ago"), (125, "2 min ago"), (7500, "2 h 5 min ago")],
)
def test_an_age_is_told_to_the_minute_so_that_a_screen_stands_still(seconds: int, told: str) -> None:
    station = seen("busy", NOON + timedelta(seconds=seconds)).station
    assert station is not None
    assert station.age[0] == told


def test_an_emergency_goes_before_what_was_heard_last_and_for_no_longer_than_it_holds() -> None:
    emergency = seen("emergency").emergency
    assert emergency is not None
    assert emergency.source == "QA1BCD-9"
    assert emergency.words.startswith("DRILL man overboard")
    assert seen("emergency", NOON + EMERGENCY_HOLDS).emergency is None


def test_where_nobody_knows_how_far_it_is_an_emergency_is_told_with_its_coordinates() -> None:
    emergency = seen("unplaced emergency").emergency
    assert emergency is not None
    assert emergency.facts[-1] == "58.6000 N 3.9157 W"
    assert emergency.words.startswith("DRILL man overboard")


def test_a_gateway_that_gives_no_answer_has_no_tiles_that_could_be_green() -> None:
    silent = seen("silent")
    assert (silent.tiles, silent.silent[0]) == ((), "no answer from the gateway since 12:00")
    assert seen("silent", NOON + timedelta(days=2)).silent[0].endswith("since 2026-06-06 12:00")


def test_before_it_was_asked_nothing_is_claimed() -> None:
    assert view(Known(CALLSIGN, None), NOON).state == ("asking the gateway",)


def test_what_is_wrong_stands_in_the_place_of_how_busy_it_is() -> None:
    assert seen("busy").state[0] == "all ok: 14 frames a minute, 23 stations in the last hour"
    assert seen("down").state[:2] == (
        "uplink: away, no server answers; can this computer reach the network?",
        "uplink: away, no server answers",
    )


def test_times_are_told_in_the_zone_that_was_asked_for_and_named() -> None:
    summer = LATER.astimezone(timezone(timedelta(hours=2), "CEST"))
    known = replace(SCENARIOS["silent"](), silent_since=datetime(2026, 6, 6, 12, 0, tzinfo=UTC))
    assert view(known, summer).clock == ("14:07 CEST", "14:07")
    assert view(known, summer).silent[0].endswith("since 14:00")


def test_an_object_is_told_by_its_name_with_its_own_place() -> None:
    mark = heard(b"QC2CBT-8>APRS:;MARK 1   *092345z5837.02N\\00355.08WNRegatta")
    station = view(Known(CALLSIGN, health(*WELL), mark), LATER).station
    assert station is not None
    assert station.words.startswith("MARK 1")
