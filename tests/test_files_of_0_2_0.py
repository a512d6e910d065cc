"""What 0.2.0 wrote and took is read by every version after it; what is of no version that we know is refused."""

import contextlib
import gzip
import io
import json
import shutil
import sqlite3
import sys
from pathlib import Path
from typing import Any

import pytest

from gateway import cli, settings
from gateway.journal import schema
from gateway.settings import policy_files
from tests.journal.keeping import heard_objects
from tests.whole_gateway import Decoder, running, station_file

SAMPLES = Path(__file__).parent / "files_of_0_2_0"
CAPTURE = "heard-20261126T003515Z-bb0967166a50-000001.jsonl.gz"
HEARD, FORWARD, USED = 148, 65, 5049
"""What 0.2.0 said that it heard and forwarded, and what of the month's budget it had used."""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """The folder in which 0.2.0 ran."""
    for sample in ("station.yaml", "policy.yaml", CAPTURE):
        shutil.copy(SAMPLES / sample, tmp_path)
    (tmp_path / "stile.db").write_bytes(gzip.decompress((SAMPLES / "stile.db.gz").read_bytes()))
    (tmp_path / "passcode").write_text("21161\n")
    (tmp_path / "token").write_text("0123456789abcdef0123\n")
    return tmp_path


def replayed(capture: Path, house: Path, monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    printed = io.StringIO()
    monkeypatch.setattr(sys, "stdout", printed)
    policy, station = str(house / "policy.yaml"), str(house / "station.yaml")
    assert cli.main(["replay", str(capture), "--policy", policy, "--station", station, "--json"]) == cli.FINE
    told: dict[str, Any] = json.loads(printed.getvalue())
    return told


def test_its_station_file_and_its_policy_are_taken(house: Path) -> None:
    station = settings.load(house / "station.yaml", {})
    source = policy_files.load_for(station)
    assert len(station.settings.alerts) == 3
    assert (len(source.policy.rules), len(source.policy.rates), len(source.policy.examples)) == (3, 2, 2)


@pytest.mark.parametrize("capture", ["stile.db", CAPTURE])
def test_its_journal_and_its_capture_are_replayed_to_the_verdicts_of_that_day(
    house: Path, monkeypatch: pytest.MonkeyPatch, capture: str
) -> None:
    told = replayed(house / capture, house, monkeypatch)
    assert told["reading"]["lines"] == HEARD
    assert not told["reading"]["damaged"]
    (judged,) = told["policies"]
    assert (judged["heard"], judged["forward"]) == (HEARD, FORWARD)


async def test_a_gateway_goes_on_with_its_journal(house: Path) -> None:
    async with Decoder() as decoder:
        text = f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\npolicy: ./policy.yaml\n"
        text += "station: {callsign: QX1GAT-10, position: {locator: IO88AO}}\n"
        text += "journal: {path: stile.db, keep: 3660d}\n"
        async with running(station_file(house, text.replace("name: vhf", "name: lan"))):
            pass
    assert len(list(heard_objects(house / "stile.db"))) == HEARD
    with contextlib.closing(sqlite3.connect(house / "stile.db")) as journal:
        assert journal.execute("SELECT count(*) FROM runs").fetchone() == (2,)


def test_what_was_used_of_a_budget_is_not_forgotten(house: Path) -> None:
    with contextlib.closing(sqlite3.connect(house / "stile.db", isolation_level=None)) as journal:
        schema.migrate(journal, house / "stile.db")
        (judge,) = journal.execute("SELECT value FROM pieces WHERE name = 'judge'").fetchone()
    assert json.loads(judge)["budgets"]["a-month/everything"] == {"period": "2026-11", "used": {"everything": USED}}


def test_a_policy_of_no_version_that_we_know_is_refused_in_one_sentence(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    policy = house / "policy.yaml"
    policy.write_text(policy.read_text().replace("version: 1", "version: 0"))
    assert cli.main(["explain", "QA1BCD-9>APRS:>x", "--policy", str(policy)]) == cli.FOUND_WRONG
    (sentence,) = capsys.readouterr().err.splitlines()
    assert "policy.yaml:2: version: " in sentence


def test_a_journal_without_our_mark_is_refused_in_one_sentence(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with contextlib.closing(sqlite3.connect(house / "stile.db")) as journal:
        journal.execute("PRAGMA application_id = 1")
    assert cli.main(["check", str(house / "station.yaml")]) == cli.FOUND_WRONG
    told = [line for line in capsys.readouterr().err.splitlines() if "is a database of another program" in line]
    assert len(told) == 1
