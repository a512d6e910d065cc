"""Every mistake in a station file that is told by the reading of it is told by the doctor, and is wrong."""

import errno
import os
from pathlib import Path

import pytest

from gateway.commands.checking import CheckReport, check_station
from gateway.doctor.by_files import policy, station_file
from gateway.doctor.evidence import Evidence
from gateway.doctor.finding import Grade
from gateway.probes.clock import ClockFound
from gateway.settings import Problem
from tests.settings.test_mistakes import MISTAKES

CLOCK = ClockFound(1_790_000_000_000, synchronised=True, chip=True)


@pytest.mark.parametrize(("text", "said"), MISTAKES, ids=lambda value: repr(value[-70:]))
def test_a_mistake_of_the_station_file_is_wrong(tmp_path: Path, text: str | bytes, said: str) -> None:
    path = tmp_path / "station.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    found = list(station_file(Evidence(check_station(path), CLOCK)))
    line, _, rest = said.partition(": ")
    told = [finding.what.replace(f"{tmp_path}/", "") for finding in found if finding.grade is Grade.WRONG]
    assert any(what.startswith((f"line {line}, {rest}", f"line {line}: {rest}", rest)) for what in told), told
    assert all(finding.do for finding in found if finding.grade is Grade.WRONG)


def test_a_secret_of_the_gateways_user_alone_is_no_mistake_of_the_line() -> None:
    what = f"secrets/passcode cannot be read: {os.strerror(errno.EACCES)}"
    report = CheckReport(Path("station.yaml"), (Problem("station.yaml", 3, "uplink.passcode_file", what),))
    wrong, _ = station_file(Evidence(report, CLOCK))
    assert wrong.do == "run the doctor as the gateway's user, or with sudo"


def test_a_mistake_of_the_policy_is_wrong_there(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.write_text(
        "station: {callsign: QX1GAT}\nreceivers: [{name: vhf, from: 'kiss+tcp://127.0.0.1:1'}]\npolicy: own.yaml\n"
    )
    (tmp_path / "own.yaml").write_text("version: 1\nname: own\nrulez: []\n")
    evidence = Evidence(check_station(path), CLOCK)
    (wrong,) = policy(evidence)
    assert wrong.grade is Grade.WRONG
    assert 'did you mean "rules"?' in wrong.what
    assert [finding.grade for finding in station_file(evidence)] == []
