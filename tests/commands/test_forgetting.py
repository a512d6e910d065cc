"""`stile forget`: after it, nothing on disk and nothing at the broker tells of the station."""

import asyncio
import contextlib
import gzip
import json
import sqlite3
from pathlib import Path

import pytest

from gateway.cli import main
from gateway.feed.heard_object import HeardPayload, encode
from gateway.groundwork.duration import DAY_MS, HOUR_MS
from gateway.history.period import Period
from gateway.journal.asking import Inquiry
from gateway.journal.batch import Dump
from gateway.journal.forgetting import forget, without
from gateway.running.lock import held
from tests.history.test_antenna import READER
from tests.journal.keeping import batch_of, heard_objects, keep, rows_in, store_at
from tests.judged_frames import NOON_MS, Post
from tests.mosquitto_broker import MosquittoBroker, publish, retained

STATION = """
station: {callsign: QX1GAT-10, position: {latitude: 58.6, longitude: -3.9167}}
receivers: [{name: vhf, from: "kiss+tcp://127.0.0.1:7581"}]
journal: {path: stile.db, captures: captures}
"""
FORGOTTEN, OTHER = "QA1BCD-9", "QB2CDE"
CAPTURE = "heard-20260606T120000Z-0f1e2d3c4b5a-000001.jsonl.gz"


@pytest.fixture
def station(tmp_path: Path) -> Path:
    """A post that knows two stations, in the journal, beside it, in its memories and in a capture."""
    path = tmp_path / "station.yaml"
    path.write_text(STATION)
    post, heard = Post(), []
    for line in (
        b"QA1BCD-9>APRS:!5842.00N/00355.00W>here",
        b"QB2CDE>APRS:!5830.00N/00355.00W>there",
        b"QA1BCD-9>APRS:}QC3DEF>APRS,QD1AA:>relayed",
        b"QB2CDE>APRS::QA1BCD-9 :hello",
    ):
        heard.append(HeardPayload(post.hear(line), READER))
        post.wait(HOUR_MS)
    keep(tmp_path / "stile.db", heard)
    (tmp_path / "captures").mkdir()
    lines = [b'{"run":"0f1e2d3c4b5a","began_with":{"budgets":{"day/source":{"used":{"QA1BCD-9":5,"QB2CDE":6}}}}}']
    capture = b"\n".join([*lines, *(frame.encoded() for frame in heard)]) + b"\n"
    (tmp_path / "captures" / CAPTURE).write_bytes(gzip.compress(capture))
    return path


def forgotten(capsys: pytest.CaptureFixture[str], station: Path, *arguments: str) -> dict[str, object]:
    assert main(["forget", str(station), FORGOTTEN, "--json", *arguments]) == 0
    told: dict[str, object] = json.loads(capsys.readouterr().out)
    return told


def test_its_frames_leave_the_journal_and_the_captures_and_those_of_others_stay(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = forgotten(capsys, station)
    assert (told["frames"], told["days"], told["captured_frames"], told["captures_rewritten"]) == (2, 1, 2, 1)
    assert [plain["source"] for plain in heard_objects(station.with_name("stile.db"))] == [OTHER, OTHER]
    beginning, *lines = gzip.decompress((station.parent / "captures" / CAPTURE).read_bytes()).splitlines()
    assert json.loads(beginning)["began_with"] == {"budgets": {"day/source": {"used": {OTHER: 6}}}}
    assert [json.loads(line)["source"] for line in lines] == [OTHER, OTHER]
    assert (station.parent / "captures" / CAPTURE).stat().st_mode & 0o077 == 0


def test_the_octets_of_the_journal_name_it_only_where_another_wrote_to_it(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    journal = station.with_name("stile.db")
    assert journal.read_bytes().count(b"QA1BCD-9") > 3
    forgotten(capsys, station)
    assert rows_in(journal, "SELECT count(*) FROM heard WHERE object LIKE '%QA1BCD-9%'") == [(1,)]
    assert b"00355.00W>here" not in journal.read_bytes()
    for table in ("days_of_stations", "days_of_reach"):
        named = rows_in(journal, f"SELECT DISTINCT source FROM {table}")
        assert (OTHER,) in named
        assert (FORGOTTEN,) not in named


def test_the_reach_is_that_of_the_others(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    forgotten(capsys, station)
    with Inquiry(station.with_name("stile.db")) as inquiry:
        reach = inquiry.reach(Period(NOON_MS, NOON_MS + DAY_MS))
    assert (reach["sectors"][0]["frames"], reach["whole"]["farthest_station"]) == (0, OTHER)
    assert rows_in(station.with_name("stile.db"), "SELECT sector, frames FROM days_of_distance") == [(17, 1)]


def test_what_stands_beside_the_journal_goes_too(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    store = store_at(station.with_name("stile.db"), "another")
    post = Post("another")
    store.write(batch_of([post.hear(b"QA1BCD-9>APRS:>beside"), post.hear(b"QB2CDE>APRS:>beside")], settles=False))
    assert forgotten(capsys, station)["frames"] == 3
    assert b">beside" in station.with_name("stile.db-pending").read_bytes()
    assert b"QA1BCD-9" not in station.with_name("stile.db-pending").read_bytes()


def test_memories_are_without_it(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    journal = station.with_name("stile.db")
    store = store_at(journal)
    direct = {"direct": [[FORGOTTEN, 5, 1.0], [OTHER, 6, 2.0]]}
    pieces = [encode(direct), encode({"stations": {FORGOTTEN: {}, OTHER: {}}})]
    store.write(batch_of(dumps=[Dump("reach", 1, 0, encoded=pieces)]))
    store.close()
    forgotten(capsys, station)
    kept = [json.loads(value) for (value,) in rows_in(journal, "SELECT value FROM pieces ORDER BY number")]
    assert kept == [{"direct": [[OTHER, 6, 2.0]]}, {"stations": {OTHER: {}}}]


@pytest.mark.parametrize("spoilt", ["{", "[" * 100_000, '["QA1BCD-9"]', "\udcff".encode("utf-8", "surrogatepass")])
def test_a_spoilt_piece_of_a_memory_goes_too(
    station: Path, capsys: pytest.CaptureFixture[str], spoilt: str | bytes
) -> None:
    journal = station.with_name("stile.db")
    with contextlib.closing(sqlite3.connect(journal)) as connection, connection:
        connection.execute("INSERT INTO pieces VALUES ('reach', 1, ?)", (spoilt,))
    forgotten(capsys, station)
    assert rows_in(journal, "SELECT value FROM pieces") == []


def test_a_station_that_nobody_heard_changes_nothing(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    before = gzip.decompress((station.parent / "captures" / CAPTURE).read_bytes())
    assert main(["forget", str(station), "QZ9NONE"]) == 0
    assert "from the journal: frames 0" in capsys.readouterr().out
    assert gzip.decompress((station.parent / "captures" / CAPTURE).read_bytes()) == before
    assert forget(station.with_name("none.db"), None, "QZ9NONE").frames == 0


def test_while_the_gateway_runs_it_is_refused(station: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with held([station]):
        assert main(["forget", str(station), FORGOTTEN]) == 1
    assert "stop it first" in capsys.readouterr().err
    assert main(["forget", str(station), "no call"]) == 2


def test_a_broker_that_cannot_be_reached_is_said_and_is_no_success(
    station: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    station.write_text(STATION + "bus: {broker: 'mqtt://127.0.0.1:1'}\n")
    assert main(["forget", str(station), FORGOTTEN]) == 1
    assert "do this again before the gateway starts" in capsys.readouterr().out


@pytest.mark.needs("mosquitto", "mosquitto")
@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_the_broker_forgets_its_topic(station: Path) -> None:
    async with MosquittoBroker() as broker:
        bus = f"bus: {{broker: 'mqtt://127.0.0.1:{broker.port}'}}\n"
        await asyncio.to_thread(station.write_text, STATION + bus)
        for call in (FORGOTTEN, OTHER):
            await publish(broker, f"stile/QX1GAT-10/stations/{call}", b"{}", retain=True)
        assert await asyncio.to_thread(main, ["forget", str(station), FORGOTTEN]) == 0
        assert set(await retained(broker)) == {f"stile/QX1GAT-10/stations/{OTHER}"}


def test_what_is_about_it_is_found_wherever_it_stands() -> None:
    key = "UUExQkNELTk+QVBSUzo+eA=="  # base64 of QA1BCD-9>APRS:>x
    others = "UUIyQ0RFPkFQUlM6Png="
    matches = [["bay", f"{FORGOTTEN} BUOY"], ["bay", OTHER]]
    value = {"duplicates": [[key, 5], [others, 6]], "matches": matches}
    assert without(value, FORGOTTEN) == {"duplicates": [[others, 6]], "matches": [["bay", OTHER]]}
