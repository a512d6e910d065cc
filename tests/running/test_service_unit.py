"""The unit of systemd that the package carries, asked about by systemd's own analyser."""

import subprocess
from importlib import resources
from pathlib import Path

import pytest

from gateway import cli
from gateway.settings.secret import CREDENTIALS_VARIABLE

UNIT = resources.files("gateway").joinpath("stile.service").read_text("utf-8")
PROGRAM = "/opt/stile/bin/stile"
HIGHEST_EXPOSURE = 2.0


def setting(name: str) -> list[str]:
    return [line.partition("=")[2] for line in UNIT.splitlines() if line.startswith(f"{name}=")]


@pytest.fixture
def unit(tmp_path: Path) -> Path:
    """The unit with a program that is there: the analyser looks for it."""
    path = tmp_path / "stile.service"
    path.write_text(UNIT.replace(PROGRAM, "/bin/true"))
    return path


@pytest.mark.needs("systemd-analyze", "systemd")
def test_the_analyser_finds_nothing_to_say_about_it(unit: Path) -> None:
    verified = subprocess.run(["systemd-analyze", "verify", unit], capture_output=True, text=True, check=False)
    assert (verified.returncode, verified.stdout, verified.stderr) == (0, "", "")


@pytest.mark.needs("systemd-analyze", "systemd")
def test_it_is_shut_in_as_far_as_its_work_allows(unit: Path) -> None:
    threshold = f"--threshold={HIGHEST_EXPOSURE * 10:.0f}"
    asked = ["systemd-analyze", "security", "--offline=true", "--no-pager", threshold, str(unit)]
    analysed = subprocess.run(asked, capture_output=True, text=True, check=False)
    assert analysed.returncode == 0, analysed.stdout


def test_it_is_started_again_whatever_happened_but_not_where_only_its_operator_can_mend_it() -> None:
    assert setting("Restart") == ["always"]
    assert setting("StartLimitIntervalSec") == ["0"]
    assert setting("RestartPreventExitStatus") == [str(cli.WRONG_CONFIGURATION)]


def test_no_board_waits_for_a_network_or_for_the_time() -> None:
    assert setting("After") == ["network.target time-sync.target"]
    assert not setting("Wants")
    assert not setting("Requires")


def test_the_manager_hears_that_it_is_ready_and_lives() -> None:
    assert setting("Type") == ["notify"]
    assert [int(seconds) for seconds in setting("WatchdogSec")] == [60]
    assert setting("ExecReload") == ['/bin/sh -c "kill -HUP $MAINPID"']


def test_every_secret_has_an_answer_where_its_file_is_missing() -> None:
    """systemd.exec(5): a missing file is fatal unless SetCredential gives the same name a value."""
    handed_over = [each.partition(":")[0] for each in setting("LoadCredential")]
    assert handed_over == [each.partition(":")[0] for each in setting("SetCredential")] == ["passcode", "bus", "web"]
    assert f"${CREDENTIALS_VARIABLE}/passcode" in UNIT


def test_it_runs_as_a_user_of_its_own_who_may_write_to_its_state_alone() -> None:
    assert setting("User") == setting("Group") == setting("StateDirectory") == ["stile"]
    assert setting("ProtectSystem") == ["strict"]
    assert not setting("ReadWritePaths")
