"""The script that makes the virtual environment, with a stand-in for the installer."""

import os
import re
import subprocess
from pathlib import Path

import pytest

SCRIPT = Path(__file__).parents[2] / "demo" / "environment.sh"
INSTALLER = """#!/bin/sh
echo "$*" >> "$LOG"
case $1 in venv) mkdir -p "$5/bin" && cp /bin/true "$5/bin/python";; esac
"""


RUNS = ("tests/run", "demo/run")


class Place:
    """A tree of which an environment is wanted, and what the installer was asked."""

    def __init__(self, folder: Path) -> None:
        self.tree = folder / "tree"
        self.log = folder / "log"
        self.tools = folder / "tools"
        self.tree.mkdir()
        self.tools.mkdir()
        self.change("first")
        (self.tools / "python3").symlink_to("/bin/true")
        installer = self.tools / "uv"
        installer.write_text(INSTALLER)
        installer.chmod(0o755)

    def change(self, text: str) -> None:
        (self.tree / "pyproject.toml").write_text(text)

    def wants(self, extras: str, **settings: str) -> list[str]:
        """What the installer is asked for where somebody wants `extras`."""
        self.log.write_text("")
        path = f"{self.tools}:{os.environ['PATH']}"
        environment = {"PATH": path, "LOG": str(self.log), "tree": str(self.tree), "extras": extras, **settings}
        subprocess.run(["sh", "-euc", f". {SCRIPT}"], env=environment, check=True, capture_output=True)
        return self.log.read_text().splitlines()


@pytest.fixture
def place(tmp_path: Path) -> Place:
    return Place(tmp_path)


def test_an_environment_is_made_once(place: Place) -> None:
    made, installed = place.wants("broker,test")
    assert made == f"venv --quiet --python python3 {place.tree}/.venv"
    assert installed.endswith(f"--editable {place.tree}[broker,test]")
    assert place.wants("broker,test") == []


def test_who_wants_less_than_is_there_installs_nothing_and_takes_nothing_away(place: Place) -> None:
    place.wants("broker,test")
    assert place.wants("broker") == []
    assert place.wants("broker,test") == []


def test_what_is_wanted_more_is_added(place: Place) -> None:
    place.wants("broker")
    (added,) = place.wants("check")
    assert added.endswith("[check]")
    assert place.wants("broker") == place.wants("check") == []


def test_the_demo_needs_nothing_more_after_the_tests(place: Place) -> None:
    folder = SCRIPT.parents[1]
    wanted = {name: re.findall(r"^extras=(.*)$", (folder / name).read_text(), re.MULTILINE) for name in RUNS}
    place.wants(*wanted["tests/run"])
    assert place.wants(*wanted["demo/run"]) == []


def test_what_pip_cannot_install_ends_it_with_pips_own_words(place: Place) -> None:
    (place.tools / "uv").unlink()
    (place.tree / ".venv/bin").mkdir(parents=True)
    pip = place.tree / ".venv/bin/python"
    pip.write_text("#!/bin/sh\necho Collecting it; echo 'no such thing' >&2; exit 3\n")
    pip.chmod(0o755)
    environment = {"PATH": f"{place.tools}:/usr/bin:/bin", "tree": str(place.tree), "extras": "test"}
    ended = subprocess.run(["sh", "-euc", f". {SCRIPT}"], env=environment, check=False, capture_output=True, text=True)
    assert ended.returncode == 1
    assert ended.stderr.endswith("no such thing\n")
    assert ended.stdout == ""


def test_a_change_of_what_the_project_asks_for_installs_again(place: Place) -> None:
    place.wants("broker,test")
    place.change("second")
    assert len(place.wants("broker")) == 1
    assert len(place.wants("broker,test")) == 1
    assert place.wants("broker,test") == []


def test_another_python_and_another_place_may_be_named(place: Place, tmp_path: Path) -> None:
    (place.tools / "python-of-mine").symlink_to("/bin/true")
    settings = {"STILE_PYTHON": "python-of-mine", "STILE_VENV": str(tmp_path / "elsewhere")}
    made, _ = place.wants("test", **settings)
    assert made == f"venv --quiet --python python-of-mine {tmp_path}/elsewhere"
