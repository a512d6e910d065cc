"""`stile who` and `stile reach`: what the journal tells at a terminal."""

import csv
import io
import json
from pathlib import Path

import pytest

from gateway.cli import main
from gateway.feed.heard_object import HeardPayload
from gateway.groundwork.duration import HOUR_MS
from gateway.judge.verdict import Reason
from tests.history.test_antenna import READER, boats
from tests.journal.keeping import batch_of, keep, record, store_at
from tests.judged_frames import Post

STATION = """
station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}
receivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:7581"}]
"""
WHEN = "2026-06-06/2026-06-08"


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """A post that has heard a boat direct, a buoy by a repeater, and a hostile text."""
    path = tmp_path / "station.yaml"
    path.write_text(STATION + "journal: {path: stile.db}\n")
    post, heard = Post(), []
    for line, reason in (
        (b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way", None),
        (b"QB2BUOY>APRS,QD1AA*:!5830.00N/00355.00W_220/004g005t077", None),
        (b"QA1BCD-9>APRS:!5842.00N/00355.00W>under way", Reason.DUPLICATE),
        (b"QC3DEF>APRS:>\x1b[2J=1+1", None),
    ):
        heard.append(HeardPayload(post.hear(line, reason=reason), READER))
        post.wait(HOUR_MS)
    keep(tmp_path / "stile.db", heard)
    return path


def told(capsys: pytest.CaptureFixture[str], *arguments: object) -> str:
    assert main([str(argument) for argument in arguments]) == 0
    return capsys.readouterr().out


def test_who_was_heard_is_a_line_each_the_last_heard_first(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    lines = told(capsys, "who", station, "--since", WHEN).splitlines()
    assert [line.split()[0] for line in lines] == ["station", "QC3DEF", "QA1BCD-9", "QB2BUOY"]
    assert "direct, position" in lines[2]
    assert "11.1" in lines[2]
    assert "by QD1AA, weather" in lines[3]


def test_what_is_known_of_one_is_its_last_report_and_its_frames(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = told(capsys, "who", station, "qa1bcd-9", "--since", WHEN)
    assert "QA1BCD-9: 2 frames on 1 day of UTC, 2 direct" in text
    assert "keep: duplicate" in text
    assert "under way" in text
    hostile = told(capsys, "who", station, "QC3DEF", "--since", WHEN)
    assert "\x1b" not in hostile


def test_scripts_get_an_object_or_a_table(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = json.loads(told(capsys, "who", station, "--since", WHEN, "--json"))
    assert [one["station"] for one in plain["stations"]] == ["QC3DEF", "QA1BCD-9", "QB2BUOY"]
    rows = list(csv.DictReader(io.StringIO(told(capsys, "who", station, "QC3DEF", "--since", WHEN, "--csv"))))
    assert [(row["verdict"], row["how"]) for row in rows] == [("forward", "direct")]
    past = json.loads(told(capsys, "who", station, "QA1BCD-9", "--since", WHEN, "--json"))
    assert past["days"] == [{"date": "2026-06-06", "frames": 2, "direct": 2}]


def test_a_longer_time_is_told_from_the_sums(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = json.loads(told(capsys, "who", station, "--since", "2026-06-01/2026-07-01", "--json"))
    assert {one["station"]: one["frames"] for one in plain["stations"]} == {"QC3DEF": 1, "QA1BCD-9": 2, "QB2BUOY": 1}
    text = told(capsys, "who", station, "--since", "2026-06-01/2026-07-01")
    assert len(text.splitlines()) == 4


def test_what_stands_beside_the_journal_is_told_too(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = store_at(station.with_name("stile.db"), "another")
    post = Post("another")
    store.write(batch_of([post.hear(b"QA1BCD-9>APRS:>beside")], settles=False))
    plain = json.loads(told(capsys, "who", station, "QA1BCD-9", "--since", WHEN, "--json"))
    assert plain["heard"][0]["information"] == ">beside"
    counted = json.loads(told(capsys, "who", station, "--since", WHEN, "--json"))
    assert {one["station"]: one["frames"] for one in counted["stations"]}["QA1BCD-9"] == 3
    assert record("another").identity == "another"
    store.close()


def test_the_reach_is_a_line_for_each_sector(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = told(capsys, "reach", station, "--since", WHEN)
    assert "000-010°" in text
    assert "█" in text
    plain = json.loads(told(capsys, "reach", station, "--since", WHEN, "--json"))
    assert plain["sectors"][0]["farthest_station"] == "QA1BCD-9"
    rows = list(csv.DictReader(io.StringIO(told(capsys, "reach", station, "--since", WHEN, "--csv"))))
    assert (len(rows), rows[0]["frames"], rows[1]["farthest_km"]) == (36, "2", "")


def test_two_periods_are_compared_in_words(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    keep(station.with_name("stile.db"), boats(60), "later")
    text = told(capsys, "reach", station, "--since", "2026-06-06/2026-06-07", "--against", "30d")
    assert "Compared with from 2026-05-07T00:00Z to 2026-06-06T00:00Z" in text
    assert "nothing to compare with" in text


@pytest.mark.parametrize(
    "arguments", [["who", "--since", "soon"], ["who", "no call"], ["reach", "--against", "2027-01-01"]]
)
def test_what_is_asked_wrongly_is_said_with_status_2(
    arguments: list[str], station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    command, *rest = arguments
    assert main([command, str(station), *rest]) == 2
    assert capsys.readouterr().err


def test_without_a_journal_it_is_said_what_to_write(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "station.yaml"
    path.write_text(STATION)
    assert main(["who", str(path)]) == 1
    assert "journal: {path: stile.db}" in capsys.readouterr().err
    path.write_text(STATION + "journal: {path: none.db}\n")
    assert main(["reach", str(path)]) == 1
    assert "there is no journal" in capsys.readouterr().err
