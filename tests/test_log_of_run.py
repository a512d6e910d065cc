"""The log of a real gateway: nobody who stops reading it, and no disk that is full, ends it or holds it up."""

import fcntl
import json
import os
import pty
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest

from tests.mosquitto_broker import free_port

STATION = """
station: {{callsign: QX1GAT-10}}
receivers: [{{name: vhf, from: "kiss+tcp://127.0.0.1:1"}}]
web: {{listen: "127.0.0.1:{port}"}}
"""


@contextmanager
def gateway(
    folder: Path, arguments: str = "", stderr: int | None = None
) -> Iterator[tuple[subprocess.Popen[bytes], str]]:
    """A gateway that a shell started, and the address of its page, once that answers."""
    port = free_port()
    (folder / "station.yaml").write_text(STATION.format(port=port))
    command = f"exec {sys.executable} -m gateway.cli run station.yaml {arguments}"
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    with subprocess.Popen(["sh", "-c", command], cwd=folder, stderr=stderr, env=environment) as process:
        try:
            wait_for_answer(process, f"http://127.0.0.1:{port}/healthz")
            yield process, f"http://127.0.0.1:{port}"
        finally:
            process.kill()


def wait_for_answer(process: subprocess.Popen[bytes], address: str) -> None:
    for _ in range(600):
        try:
            httpx.get(address)
        except httpx.TransportError:
            assert process.poll() is None, "the gateway ended"
            time.sleep(0.05)
        else:
            return
    pytest.fail("the gateway does not answer")


def stop(process: subprocess.Popen[bytes]) -> int:
    process.send_signal(signal.SIGTERM)
    return process.wait(20)


def lives_and_stops_well(process: subprocess.Popen[bytes], address: str) -> bool:
    process.send_signal(signal.SIGHUP)  # that is logged, too
    return httpx.get(f"{address}/healthz").status_code == 200 and stop(process) == 0


@pytest.mark.parametrize("to", ["2>/dev/full", "2>&-", "2>/dev/null", "<&- >&- 2>&-"])
def test_it_runs_and_stops_well_whatever_its_log_goes_to(tmp_path: Path, to: str) -> None:
    with gateway(tmp_path, to) as (process, address):
        assert lives_and_stops_well(process, address)


def test_a_reader_of_the_log_that_went_away_is_no_reason_to_end(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    with gateway(tmp_path, stderr=writing) as (process, address):
        assert lives_and_stops_well(process, address)
    os.close(writing)


def test_a_pipe_that_nobody_empties_holds_nothing_up(tmp_path: Path) -> None:
    reading, writing = os.pipe()
    os.write(writing, bytes(fcntl.fcntl(writing, fcntl.F_GETPIPE_SZ)))
    with gateway(tmp_path, stderr=writing) as (process, address):
        assert lives_and_stops_well(process, address)
    os.close(reading)
    os.close(writing)


def test_a_terminal_that_was_told_to_stand_still_holds_nothing_up(tmp_path: Path) -> None:
    outer, inner = pty.openpty()
    os.write(outer, b"\x13")  # Ctrl-S: XOFF of POSIX terminals
    with gateway(tmp_path, stderr=inner) as (process, address):
        assert lives_and_stops_well(process, address)
    os.close(inner)
    os.close(outer)


def test_a_line_is_an_object_or_text_as_one_likes(tmp_path: Path) -> None:
    for form in ("json", "text"):
        with (
            (tmp_path / form).open("wb") as log,
            gateway(tmp_path, f"--log {form}", stderr=log.fileno()) as (process, _),
        ):
            assert stop(process) == 0
    first = json.loads((tmp_path / "json").read_text().splitlines()[0])
    assert [*first][:3] == ["time", "level", "event"]
    assert (tmp_path / "text").read_text().startswith("20")
    assert "\x1b" not in (tmp_path / "text").read_text()


def test_a_terminal_gets_colours_and_gets_none_where_they_are_not_wanted(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """NO_COLOR of no-color.org: where it is set, and not empty."""
    for wish, coloured in (("", True), ("1", False)):
        monkeypatch.setenv("NO_COLOR", wish)
        outer, inner = pty.openpty()
        with gateway(tmp_path, stderr=inner) as (process, _):
            assert stop(process) == 0
        assert (b"\x1b[" in os.read(outer, 65536)) is coloured
        os.close(inner)
        os.close(outer)


def test_what_keeps_it_from_starting_is_said_even_so_and_has_an_exit_status_of_its_own(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "gateway.cli", "run", "nowhere.yaml"]
    environment = {**os.environ, "PYTHONPATH": str(Path(__file__).parents[1])}
    ended = subprocess.run(command, cwd=tmp_path, stderr=subprocess.PIPE, env=environment, check=False)
    assert (ended.returncode, ended.stderr) == (78, b"nowhere.yaml:1: cannot be read: No such file or directory\n")
