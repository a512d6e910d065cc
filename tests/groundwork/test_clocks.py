"""The computer's clocks, as far as a test can ask them without setting one."""

import time
from pathlib import Path

import pytest

from gateway.groundwork import clocks
from gateway.groundwork.clocks import EARLIEST_MS, is_plausible


def test_the_earliest_time_that_can_be_right_is_stated() -> None:
    assert is_plausible(EARLIEST_MS)
    assert not is_plausible(EARLIEST_MS - 1)
    assert EARLIEST_MS == 1_767_225_600_000


def test_the_time_since_the_start_of_the_computer_is_what_the_system_says() -> None:
    uptime = float(Path("/proc/uptime").read_text("ascii").split()[0])  # Linux manual page proc_uptime(5)
    assert abs(clocks.since_boot() - uptime) < 5
    assert clocks.since_boot() >= time.monotonic() - 0.001  # which does not count sleep


def test_a_start_of_the_computer_has_an_identity() -> None:
    assert clocks.boot_identity() == clocks.boot_identity() != ""


def test_a_system_that_does_not_tell_which_start_it_is_has_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(clocks, "_BOOT_IDENTITY", tmp_path / "none")
    assert clocks.boot_identity() is None


def test_whether_the_clock_is_synchronised_can_be_asked() -> None:
    assert clocks.is_synchronised() in {True, False}
