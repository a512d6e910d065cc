"""Whatever `check` takes, a service can be made of; whatever a start refuses, `check` refused, in the same words."""

import asyncio
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import event, given, settings

from gateway import settings as station_files
from gateway.commands.checking import check_station
from gateway.documents import DocumentError, Problem
from gateway.running.service import Service
from gateway.settings import policy_files
from tests.settings.stations import station, stations

PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
POLICY = """\
version: 1
name: own
rules: [{name: a, when: {receiver: vhf, distance: {within: 5km}}, then: keep}]
rates: [{name: b, when: {receiver: lan}, allow: 2 MB per day}]
"""


@pytest.fixture(scope="module")
def house() -> Iterator[Path]:
    """A folder with secrets, a weak one among them, a policy, and a pipe in the place of a file."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for file, text in (("passcode", PASSCODE), ("token", "t" * 32), ("weak", "t"), ("own.yaml", POLICY)):
            (folder / file).write_text(text)
        os.mkfifo(folder / "pipe")
        yield folder


def refused_at_start(path: Path) -> tuple[Problem, ...]:
    """What keeps a gateway from being made of a station file."""

    async def make() -> None:
        station_file = station_files.load(path)
        Service(station_file, policy_files.load_for(station_file))

    try:
        asyncio.run(make())
    except DocumentError as error:
        return error.problems
    return ()


def written(folder: Path, content: dict[str, Any]) -> Path:
    path = folder / "station.yaml"
    path.write_text(yaml.safe_dump(content, allow_unicode=True), "utf-8")
    return path


@given(stations())
@settings(max_examples=400)
def test_what_check_takes_can_be_made_and_what_cannot_be_made_it_refused(house: Path, content: dict[str, Any]) -> None:
    path = written(house, content)
    report = check_station(path)
    event("fine" if not report.problems else "refused")
    at_start = refused_at_start(path)
    assert bool(at_start) == bool(report.problems)
    assert set(at_start) <= set(report.problems)
    for problem in report.problems:
        assert problem.line >= 1
        assert problem.what


def test_the_station_file_that_is_made_odd_is_fine_by_itself(house: Path) -> None:
    path = written(house, station())
    assert check_station(path).problems == ()
    assert refused_at_start(path) == ()
