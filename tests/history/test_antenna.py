"""The reach of the antenna, from frames to sectors, beside an independent computation.

Outside judges: pyproj (PROJ's geodesics on WGS 84) for distance and bearing, NumPy's percentile by the method
"inverted_cdf", which is the nearest rank, for medians and percentiles.
"""

import json
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pyproj import Geod

from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.frames.heard import Place
from gateway.groundwork.duration import DAY_MS
from gateway.history.antenna import AntennaReach, ClassFrames, DirectFrames, MeasuredBy
from gateway.history.distances import (
    FARTHEST_M,
    IMPLAUSIBLE,
    SECTORS,
    class_of,
    measured,
    middle_of,
    place_that_counts,
)
from gateway.history.period import Period
from gateway.journal.asking import Inquiry
from gateway.judge import conditions
from gateway.judge.verdict import Reason
from tests.journal.keeping import ANTENNA, keep
from tests.judged_frames import NOON_MS, Post

READER = ReportReader(conditions.Post("QX1GAT-10", ANTENNA.latitude, ANTENNA.longitude))
EARTH = Geod(ellps="WGS84")

degrees = st.tuples(st.floats(-89.9, 89.9), st.floats(-180, 180))


@given(degrees)
def test_distance_and_sector_are_those_of_another_library(place: tuple[float, float]) -> None:
    azimuth, _, metres = EARTH.inv(ANTENNA.longitude, ANTENNA.latitude, place[1], place[0])
    found = measured(ANTENNA, Place(*place))
    assert found.distance_m == pytest.approx(metres, abs=1)
    bearing = azimuth % 360
    if metres > FARTHEST_M + 1:
        assert found.sector == IMPLAUSIBLE
    elif 1 < metres < FARTHEST_M - 1 and min(bearing % 10, 10 - bearing % 10) > 1e-6:
        assert found.sector == bearing // 10


@pytest.mark.parametrize(
    ("line", "counts"),
    [
        (b"QA1BCD>APRS:!5842.00N/00355.00W>", True),
        (b"QA1BCD>APRS,WIDE2-1:!5842.00N/00355.00W>", True),
        (b"QA1BCD>APRS,QD1AA*,WIDE2-1:!5842.00N/00355.00W>", False),
        (b"QB1BCD>APRS:}QA1BCD>APRS,QD1AA:!5842.00N/00355.00W>", False),
        (b"QA1BCD>APRS:;BUOY     *061200z5842.00N/00355.00W>", False),
        (b"QA1BCD>APRS:)BUOY!5842.00N/00355.00W>", False),
        (b"QA1BCD>APRS:>a status", False),
        (b"QA1BCD>APRS:!5842.00N/00355.00W_220/004g005t077", True),
        (b"this is no frame", False),
    ],
)
def test_only_a_stations_own_place_heard_direct_counts(line: bytes, counts: bool) -> None:
    assert (place_that_counts(Post().hear(line)) is not None) is counts


def test_what_is_no_report_of_this_network_does_not_count() -> None:
    assert place_that_counts(Post().hear(b"QA1BCD>APRS:!5842.00N/00355.00W>", reason=Reason.WRONG_PID)) is None


def test_what_a_post_of_a_club_heard_counts_only_where_its_place_is_known() -> None:
    judged = Post().hear(b"QA1BCD>APRS:!5842.00N/00355.00W>", receiver="headland/vhf")
    from_the_post = replace(judged, heard=replace(judged.heard, place=Place(58.0, -4.0)))
    assert place_that_counts(from_the_post) == Place(58.7, -(3 + 55 / 60))
    assert place_that_counts(judged) is None


@given(st.integers(0, FARTHEST_M))
def test_a_distance_lies_in_its_class_and_classes_follow_each_other(distance_m: int) -> None:
    width = 1000 if distance_m < 100_000 else 5000 if distance_m < 500_000 else 25_000
    assert abs(middle_of(class_of(distance_m)) - distance_m) <= width / 2
    assert class_of(min(distance_m + width, FARTHEST_M)) - class_of(distance_m) in {0, 1}


sectors = st.integers(-1, SECTORS - 1)
groups = st.builds(
    DirectFrames,
    sectors,
    st.integers(0, FARTHEST_M),
    st.sampled_from(["QA1BCD", "QB2CDE-7", "QC3DEF"]),
    st.integers(1, 5),
    st.integers(NOON_MS, NOON_MS + DAY_MS),
)


@given(st.lists(groups, max_size=40))
def test_medians_and_percentiles_are_those_of_a_statistics_library(heard: list[DirectFrames]) -> None:
    reach = AntennaReach(heard)
    assert reach.implausible_frames == sum(one.frames for one in heard if one.sector == IMPLAUSIBLE)
    for number, sector in enumerate(reach.sectors):
        of_sector = [one for one in heard if one.sector == number]
        distances = [one.distance_m for one in of_sector for _ in range(one.frames)]
        assert (sector.frames, len(sector.stations)) == (len(distances), len({one.source for one in of_sector}))
        for percent in (50, 95):
            expected = np.percentile(distances, percent, method="inverted_cdf") if distances else None
            assert sector.percentile_m(percent) == expected
        assert (sector.farthest[0] if sector.farthest else None) == max(distances, default=None)


@given(st.lists(groups, max_size=40))
def test_of_classes_each_percentile_is_within_half_a_class_and_the_farthest_is_exact(heard: list[DirectFrames]) -> None:
    plausible = [one for one in heard if one.sector != IMPLAUSIBLE]
    classes = [ClassFrames(one.sector, class_of(one.distance_m), one.frames) for one in plausible]
    by_class, exact = AntennaReach(plausible, classes).whole, AntennaReach(plausible).whole
    assert (by_class.farthest, by_class.frames, by_class.stations) == (exact.farthest, exact.frames, exact.stations)
    for percent in (50, 95):
        ours, theirs = by_class.percentile_m(percent), exact.percentile_m(percent)
        assert (ours is None) == (theirs is None)
        if ours is not None and theirs is not None:
            assert abs(ours - theirs) <= 12_500


def boats(count: int) -> list[HeardPayload]:
    """Boats all around, some of them heard by way of a repeater, one too far away to be believed."""
    post, heard = Post(), []
    for number in range(count):
        path = b",QD1AA*" if number % 5 == 0 else b""
        latitude = b"0130.00N" if number % 50 == 7 else b"58%02d.%02dN" % (number * 7 % 60, number % 100)
        place = b"%b/%03d%02d.%02dW>" % (latitude, 2 + number % 4, number * 13 % 60, number * 3 % 100)
        heard.append(HeardPayload(post.hear(b"QA%dBC>APRS%b:!%b" % (number % 9, path, place)), READER))
        post.wait(60_000)
    return heard


def independently(heard: Sequence[HeardPayload]) -> tuple[dict[int, dict[str, Any]], int]:
    """The numbers of each sector from the published objects alone, and how many are implausible."""
    distances: dict[int, list[tuple[float, str, str]]] = defaultdict(list)
    implausible = 0
    for payload in heard:
        one = json.loads(payload.encoded())
        if any(entry.endswith("*") for entry in one["path"]):
            continue
        report = one["report"]
        azimuth, _, metres = EARTH.inv(ANTENNA.longitude, ANTENNA.latitude, report["longitude"], report["latitude"])
        if metres > 1_500_000:
            implausible += 1
        else:
            distances[int(azimuth % 360 // 10)].append((metres / 1000, one["time"], one["source"]))
    numbers = {}
    for sector, entries in distances.items():
        km = [entry[0] for entry in entries]
        farthest = max(entries)
        numbers[sector] = {
            "frames": len(km),
            "stations": len({entry[2] for entry in entries}),
            "median_km": np.percentile(km, 50, method="inverted_cdf"),
            "p95_km": np.percentile(km, 95, method="inverted_cdf"),
            "farthest_km": farthest[0],
            "farthest_station": farthest[2],
            "farthest_time": farthest[1],
        }
    return numbers, implausible


def test_the_reach_of_a_journal_equals_an_independent_computation(tmp_path: Path) -> None:
    heard = boats(400)
    keep(tmp_path / "stile.db", heard)
    expected, implausible = independently(heard)
    with Inquiry(tmp_path / "stile.db") as inquiry:
        reach = inquiry.reach(Period(NOON_MS, NOON_MS + DAY_MS))
    assert (reach["measured_by"], reach["implausible_frames"]) == (MeasuredBy.FRAMES, implausible)
    assert implausible
    assert len(expected) > 5
    for number, sector in enumerate(reach["sectors"]):
        if number not in expected:
            assert sector["frames"] == 0
            continue
        for name, value in expected[number].items():
            assert sector[name] == (pytest.approx(value, abs=0.002) if name.endswith("_km") else value)
