import re
from pathlib import Path

import pytest

from gateway import settings
from gateway.commands import checking
from gateway.groundwork.loopback import is_loopback
from tests.docker.reading import FOLDER

TEXT = (FOLDER / "station.yaml").read_text("utf-8")


def with_secrets(folder: Path, passcode: str = "21161") -> Path:
    """The station file as the container sees it, with folders of the test's for /run/secrets and the volume."""
    (folder / "passcode").write_text(f"{passcode}\n")
    (folder / "bus").write_text("a-throw-away-password\n")
    station_file = folder / "station.yaml"
    (folder / "volume").mkdir()
    station_file.write_text(TEXT.replace("/run/secrets", str(folder)).replace("/var/lib/stile", str(folder / "volume")))
    return station_file


def test_it_loads_with_its_secrets(tmp_path: Path) -> None:
    station = settings.load(with_secrets(tmp_path), {})
    assert station.passcode_number == 21161
    assert station.bus_password is not None
    assert station.bus_password.get_secret_value() == "a-throw-away-password"
    assert station.settings.bus is not None
    assert station.settings.bus.username == "stile"


def test_all_that_the_gateway_writes_is_on_the_volume(tmp_path: Path) -> None:
    journal = settings.load(with_secrets(tmp_path), {}).settings.journal
    assert journal is not None
    assert journal.path.parent == tmp_path / "volume"


def test_everything_listens_on_loopback(tmp_path: Path) -> None:
    station = settings.load(with_secrets(tmp_path), {}).settings
    assert station.web is not None
    assert is_loopback(station.web.listen.host)
    assert station.lines is None


def test_the_gateway_finds_nothing_wrong_with_it(tmp_path: Path) -> None:
    assert not checking.check_station(with_secrets(tmp_path)).problems


def test_a_passcode_of_somebody_else_is_found(tmp_path: Path) -> None:
    report = checking.check_station(with_secrets(tmp_path, passcode="1"))
    assert [problem.key for problem in report.problems] == ["uplink.passcode_file"]


def test_listening_only_takes_no_passcode(tmp_path: Path) -> None:
    assert not checking.check_station(with_secrets(tmp_path, passcode="-1")).problems


def test_every_call_in_it_is_nobodys() -> None:
    """Callsigns that begin with Q are allotted to nobody (ITU Radio Regulations, appendix 42; from memory)."""
    calls = re.findall(r"\b[A-Z]{1,2}\d[A-Z]{1,4}(?:-\d+)?\b", re.sub(r"locator: \w+", "", TEXT))
    assert calls
    assert all(call.startswith("Q") for call in calls)


@pytest.mark.parametrize("key", ["callsign", "position", "from", "servers"])
def test_what_every_operator_must_change_is_marked(key: str) -> None:
    (line,) = re.findall(rf"^[ -]*{key}:.*$", TEXT, re.MULTILINE)
    assert "# change: " in line
