"""One gateway for one file: the second is refused with the first one's process number, and any death gives way."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from gateway.running.lock import LockHeldError, held

HOLD = """
import pathlib, sys
from gateway.running.lock import held
with held([pathlib.Path(sys.argv[1])]):
    print("held", flush=True)
    sys.stdin.read()
"""


def test_the_second_is_told_who_the_first_is_and_its_death_gives_way(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.write_text("")
    (tmp_path / "link.yaml").symlink_to(path)
    command = [sys.executable, "-c", HOLD, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as first:
        assert first.stdout is not None
        assert first.stdout.readline() == b"held\n"
        with pytest.raises(LockHeldError, match=rf"station.yaml: the gateway of process {first.pid} runs"):
            held([tmp_path / "link.yaml"]).__enter__()
        first.kill()
        first.wait()
    with held([path]):
        pass


def test_what_is_not_there_is_made_for_its_owner_alone(tmp_path: Path) -> None:
    with held([tmp_path / "stile.db.lock"]):
        assert (tmp_path / "stile.db.lock").stat().st_mode & 0o777 == 0o600


def test_a_file_that_may_only_be_read_is_locked_too(tmp_path: Path) -> None:
    path = tmp_path / "station.yaml"
    path.touch(0o400)
    with held([path]), pytest.raises(LockHeldError, match=f"process {os.getpid()}"):
        held([path]).__enter__()


def test_where_no_lock_can_be_it_runs_all_the_same(tmp_path: Path) -> None:
    with held([tmp_path / "nowhere" / "stile.db"]):
        pass


def test_the_first_lock_is_given_back_where_the_second_is_refused(tmp_path: Path) -> None:
    with held([tmp_path / "b"]):
        with pytest.raises(LockHeldError):
            held([tmp_path / "a", tmp_path / "b"]).__enter__()
        with held([tmp_path / "a"]):
            pass
