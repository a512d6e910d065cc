"""A test that would hang for ever: it fails, and says where it stood."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

TREE = Path(__file__).parent.parent


def run_alone(folder: Path, test: str, *settings: str) -> str:
    """What pytest says of `test`, with the settings of this tree."""
    (folder / "test_it.py").write_text(test)
    command = [sys.executable, "-m", "pytest", "-c", f"{TREE}/pyproject.toml", "--rootdir", str(folder), *settings]
    for plugin in ("pytest_asyncio.plugin", "pytest_timeout", "tests.conftest", "no:cacheprovider"):
        command += ["-p", plugin]
    environment = {**os.environ, "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1"}  # no others: it starts much sooner so
    command.append(str(folder))
    done = subprocess.run(command, check=False, capture_output=True, cwd=TREE, env=environment, text=True)
    return done.stdout + done.stderr


@pytest.mark.parametrize(
    ("test", "stood"),
    [
        ("import asyncio\n\nasync def test_it():\n    await asyncio.Event().wait()\n", "await asyncio.Event().wait()"),
        ("import time\n\ndef test_it():\n    time.sleep(600)\n", "time.sleep(600)"),
    ],
    ids=["a task that waits", "a call that does not return"],
)
def test_a_test_out_of_time_fails_and_shows_where_it_stood(tmp_path: Path, test: str, stood: str) -> None:
    said = run_alone(tmp_path, test, "--timeout=0.5")
    assert "1 failed" in said
    assert "Timeout (>0.5s)" in said
    assert stood in said


def test_where_even_its_clean_up_hangs_the_run_ends(tmp_path: Path) -> None:
    test = "import signal, time\n\ndef test_it():\n    signal.alarm(0)\n    time.sleep(600)\n"
    said = run_alone(tmp_path, test, "-o", "faulthandler_timeout=0.5")
    assert 'test_it.py", line 5 in test_it' in said
    assert "1 passed" not in said
    assert "1 failed" not in said


def test_every_test_has_a_limit(pytestconfig: pytest.Config) -> None:
    limit, net = float(pytestconfig.getini("timeout")), float(pytestconfig.getini("faulthandler_timeout"))
    assert 0 < limit < net
    assert pytestconfig.getini("faulthandler_exit_on_timeout")
