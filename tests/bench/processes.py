"""What stands between the ends of a bench: a gateway as `stile run` makes it, or a bare relay; and what it costs."""

import asyncio
import ctypes
import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from tests.bench.ends import Ends
from tests.bench.figures import Skipped
from tests.mosquitto_broker import MosquittoBroker

CALLSIGN = "QX1GAT-10"
PASSCODE = "21161"
"""Of QX1GAT, by the algorithm in common use (from memory)."""

STOP_SECONDS = 10

_libc = ctypes.CDLL(None, use_errno=True)


def pin(core: int, process: int = 0) -> None:
    """Keep a process on one core, this one where none is named, where the system lets it choose."""
    with suppress(AttributeError, OSError):
        os.sched_setaffinity(process, {core})


def written_octets(process: int | str = "self") -> int:
    """What the kernel wrote to disks for a process, less what it spared itself (Linux, proc_pid_io(5))."""
    text = Path(f"/proc/{process}/io").read_text("ascii")
    fields = dict(field.split(": ") for field in text.splitlines())
    return int(fields["write_bytes"]) - int(fields["cancelled_write_bytes"])


class Measured:
    """A process that is measured."""

    def __init__(self, process: subprocess.Popen[bytes]) -> None:
        self._process = process
        clock = ctypes.c_int()
        if _libc.clock_getcpuclockid(process.pid, ctypes.byref(clock)):
            raise OSError("the system has no clock of another process's processor time")
        self._clock = clock.value

    def processor_seconds(self) -> float:
        """The time of the processor that all its threads took so far (POSIX, clock_getcpuclockid)."""
        return time.clock_gettime(self._clock)

    @property
    def number(self) -> int:
        """By which the system knows it."""
        return self._process.pid

    def most_memory_mb(self) -> float:
        """The most memory that it ever had resident."""
        return self._memory_mb("VmHWM")

    def memory_mb(self) -> float:
        """The memory that it has resident now."""
        return self._memory_mb("VmRSS")

    def _memory_mb(self, name: str) -> float:
        """From the kernel's account (Linux, proc_pid_status(5))."""
        text = Path(f"/proc/{self._process.pid}/status").read_text("ascii")
        found = re.search(rf"{name}:\s+(\d+) kB", text)
        return int(found[1]) / 1000 if found else 0.0

    def written_octets(self) -> int:
        """What the kernel wrote to disks for it, less what it spared itself."""
        return written_octets(self._process.pid)

    def end(self) -> None:
        """End it, as an operator would."""
        self._process.send_signal(signal.SIGTERM)
        try:
            self._process.wait(STOP_SECONDS)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()


@contextmanager
def relay(ends: Ends) -> Iterator[Measured]:
    """A bare relay between the ends, for as long as the context lasts."""
    command = [
        sys.executable,
        "-m",
        "tests.bench.relay",
        str(ends.decoder_port),
        str(ends.server_port),
        ends.mark.hex(),
    ]
    yield from _running(command, ends, {})


@contextmanager
def least(ends: Ends) -> Iterator[Measured]:
    """What does the least that any gateway does, between the ends."""
    command = [sys.executable, "-m", "tests.bench.least", str(ends.decoder_port), str(ends.server_port)]
    yield from _running(command, ends, {})


@contextmanager
def a_broker() -> Iterator[MosquittoBroker]:
    """A broker that runs. Raises `Skipped` where none is installed."""
    broker = MosquittoBroker()
    with asyncio.Runner() as runner:
        try:
            runner.run(broker.start())
        except FileNotFoundError:
            raise Skipped("mosquitto is not installed") from None
        try:
            yield broker
        finally:
            runner.run(broker.kill())


@contextmanager
def gateway(
    ends: Ends, folder: Path, sections: dict[str, Any] | None = None, *, errors: IO[bytes] | None = None
) -> Iterator[Measured]:
    """A gateway between the ends, with the sections beside its uplink; `folder` is its own.

    `errors` takes its log, and then the times of its imports, as Python tells them.
    """
    station = {
        "station": {"callsign": CALLSIGN, "position": {"latitude": 58.6, "longitude": -3.9167}},
        "receivers": [{"name": "vhf", "from": f"kiss+tcp://127.0.0.1:{ends.decoder_port}"}],
        "uplink": {"servers": [f"tcp://127.0.0.1:{ends.server_port}"]},
        **(sections or {}),
    }
    path = folder / "station.yaml"
    path.write_text(json.dumps(station))  # JSON is YAML
    python = [sys.executable] if errors is None else [sys.executable, "-X", "importtime"]
    command = [*python, "-m", "gateway.cli", "run", str(path)]
    yield from _running(command, ends, {"STILE_PASSCODE": PASSCODE}, errors)


def _running(
    command: list[str], ends: Ends, environment: dict[str, str], errors: IO[bytes] | None = None
) -> Iterator[Measured]:
    environment = {**os.environ, **environment}
    with subprocess.Popen(command, env=environment, stderr=errors or subprocess.DEVNULL) as process:
        measured = Measured(process)
        try:
            ends.wait_until_connected()
            yield measured
        finally:
            measured.end()
            ends.close()
