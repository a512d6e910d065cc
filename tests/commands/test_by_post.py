"""`stile who` and `stile reach` at a hub of a club, by post, from a journal as a hub keeps it.

Outside judge of distances: pyproj (PROJ's geodesics on WGS 84).
"""

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from pyproj import Geod

from gateway.cli import main
from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Place
from gateway.groundwork.duration import HOUR_MS
from gateway.judge.verdict import Judged
from tests.history.test_antenna import READER
from tests.journal.keeping import batch_of, keep, store_at
from tests.judged_frames import Post

HUB = """
station: {callsign: QX1HUB-10, position: {latitude: 58.6, longitude: -3.9167}}
club: {name: wrackholm, servers: ["nats://127.0.0.1:4222"], role: hub}
journal: {path: stile.db}
"""
HEADLAND, HARBOUR = Place(58.0, -4.0), Place(59.0, -3.0)
WHEN = "2026-06-06/2026-06-08"
EARTH = Geod(ellps="WGS84")


def heard_by(post: Post, receiver: str, place: Place | None, line: bytes) -> Judged:
    judged = post.hear(line, receiver=receiver)
    return replace(judged, heard=replace(judged.heard, place=place))


@pytest.fixture
def hub(tmp_path: Path) -> Path:
    """A hub of two posts that know where they are and of one that does not."""
    station = tmp_path / "station.yaml"
    station.write_text(HUB)
    post, heard = Post(), []
    for receiver, place, line in (
        ("headland/vhf", HEADLAND, b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way"),
        ("harbour/vhf", HARBOUR, b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way"),
        ("harbour/vhf", HARBOUR, b'QB2CDE>APRS:>"receiver":"headland/vhf"'),
        ("island/vhf", None, b"QC3DEF>APRS:!5842.00N/00355.00W>whoever heard it"),
        ("harbour/vhf", HARBOUR, b"QA1BCD-9>APRS,QD1AA*:!5843.00N/00355.00W>later"),
    ):
        heard.append(HeardPayload(heard_by(post, receiver, place, line), READER))
        post.wait(HOUR_MS)
    keep(tmp_path / "stile.db", heard)
    return station


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> Any:  # noqa: ANN401 - whatever is printed
    assert main([str(argument) for argument in (*arguments, "--since", WHEN, "--json")]) == 0
    return json.loads(capsys.readouterr().out)


def test_who_was_heard_by_one_post(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = told(capsys, "who", hub, "--post", "headland")
    assert plain["post"] == "headland"
    assert [(one["station"], one["frames"]) for one in plain["stations"]] == [("QA1BCD-9", 1)]
    assert {one["station"]: one["frames"] for one in told(capsys, "who", hub, "--post", "harbour")["stations"]} == {
        "QA1BCD-9": 2,
        "QB2CDE": 1,
    }
    assert len(told(capsys, "who", hub)["stations"]) == 3


@pytest.mark.parametrize(("post", "place"), [("headland", HEADLAND), ("harbour", HARBOUR)])
def test_distance_and_bearing_are_from_the_post_that_heard(
    hub: Path, post: str, place: Place, capsys: pytest.CaptureFixture[str]
) -> None:
    azimuth, _, metres = EARTH.inv(place.longitude, place.latitude, -(3 + 55 / 60), 58.7)
    plain = told(capsys, "reach", hub, "--post", post)
    assert plain["post"] == post
    assert plain["whole"]["frames"] == 1
    assert plain["whole"]["farthest_km"] == pytest.approx(metres / 1000, abs=0.002)
    assert [place for place, sector in enumerate(plain["sectors"]) if sector["frames"]] == [azimuth % 360 // 10]
    report = told(capsys, "who", hub, "QA1BCD-9", "--post", post)["heard"][-1]["report"]
    assert report["distance_km"] == pytest.approx(metres / 1000, abs=0.002)
    assert report["bearing_deg"] == pytest.approx(azimuth % 360, abs=0.06)


def test_a_post_whose_place_is_not_known_has_no_distances(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert told(capsys, "reach", hub, "--post", "island")["whole"]["frames"] == 0
    (only,) = told(capsys, "who", hub, "--post", "island")["stations"]
    assert "distance_km" not in only
    assert told(capsys, "reach", hub)["whole"]["frames"] == 2, "of all posts together"


def test_one_station_as_one_post_heard_it(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = told(capsys, "who", hub, "QA1BCD-9", "--post", "harbour")
    assert plain["days"] == [{"date": "2026-06-06", "frames": 2, "direct": 1}]
    assert {one["receiver"] for one in plain["heard"]} == {"harbour/vhf"}
    assert main(["who", str(hub), "QC3DEF", "--post", "harbour", "--since", WHEN]) == 0
    assert "QC3DEF was not heard by harbour" in capsys.readouterr().out


def test_what_stands_beside_the_journal_is_told_by_post_too(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = store_at(hub.with_name("stile.db"), "another")
    post = Post("another")
    store.write(
        batch_of(
            [
                heard_by(post, "headland/vhf", HEADLAND, b"QC3DEF>APRS:>beside"),
                heard_by(post, "harbour/vhf", HARBOUR, b"QD4EFG>APRS:>beside"),
            ],
            settles=False,
        )
    )
    stations = told(capsys, "who", hub, "--post", "headland")["stations"]
    assert {one["station"] for one in stations} == {"QA1BCD-9", "QC3DEF"}
    store.close()


def test_two_periods_of_one_post_are_compared_by_its_own_days(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = told(capsys, "reach", hub, "--post", "headland", "--against", "2026-05-01/2026-06-01")
    stations = plain["compare"]["results"][0]
    assert (stations["days"], stations["median"], stations["days_against"]) == (1, 1, 0)
    assert plain["compare"]["post"] == "headland"


def test_where_frames_of_the_period_are_gone_that_is_said(hub: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = store_at(hub.with_name("stile.db"), "later", keep_ms=3 * HOUR_MS)
    post = Post("later")
    post.wait(6 * HOUR_MS)
    store.write(batch_of([heard_by(post, "headland/vhf", HEADLAND, b"QA1BCD-9>APRS:!5842.00N/00355.00W>")]))
    for _ in range(3):
        store.tidy(post.moment)
        post.wait(HOUR_MS)
    store.close()
    plain = told(capsys, "reach", hub, "--post", "headland")
    assert plain["kept_since"].startswith("2026-06-06T1")
    assert main(["reach", str(hub), "--post", "headland", "--since", WHEN]) == 0
    out = capsys.readouterr().out
    assert "Heard direct by headland, distances from there, from 2026-06-06" in out
    assert "Frames are kept since 2026-06-06T1" in out


@pytest.mark.parametrize("command", ["who", "reach"])
def test_a_post_is_asked_for_at_a_hub_and_by_its_name(
    command: str, hub: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main([command, str(hub), "--post", 'head"land']) == 2
    assert "--post" in capsys.readouterr().err
    alone = hub.with_name("alone.yaml")
    alone.write_text(
        'station: {callsign: QX1GAT-10}\nreceivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:7581"}]\n'
        "journal: {path: stile.db}\n"
    )
    assert main([command, str(alone), "--post", "headland"]) == 2
    assert "this station is none" in capsys.readouterr().err
