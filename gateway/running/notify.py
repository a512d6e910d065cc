"""What a service manager is told: that the gateway is ready, what it does, that it lives, that it stops.

The protocol is that of sd_notify(3): datagrams of lines `NAME=value` to the socket that `NOTIFY_SOCKET` names. Where
there is none, nothing is told. Telling never waits and never fails.
"""

import contextlib
import os
import socket
import time
from collections.abc import Mapping

LONGEST_STATUS = 200
"""Characters of the line that `systemctl status` shows."""


class ServiceManager:
    """The one that started this process; none where it was started by hand."""

    def __init__(self, environment: Mapping[str, str] = os.environ) -> None:
        self._address = environment.get("NOTIFY_SOCKET", "")
        self.watchdog_seconds = _watchdog_seconds(environment)
        """How long it waits for a sign of life before it restarts the gateway; None where it does not."""

    def ready(self) -> None:
        """The gateway has started, or has read its policy again."""
        self._tell("READY=1")

    def reloading(self) -> None:
        """The policy is read again."""
        self._tell("RELOADING=1", f"MONOTONIC_USEC={time.monotonic_ns() // 1000}")

    def stopping(self) -> None:
        """The gateway stops."""
        self._tell("STOPPING=1")

    def alive(self, status: str) -> None:
        """The gateway turns; `status` is one line for the operator."""
        self._tell("WATCHDOG=1", f"STATUS={status[:LONGEST_STATUS]}")

    def _tell(self, *lines: str) -> None:
        if not self._address:
            return
        address = f"\0{self._address[1:]}" if self._address.startswith("@") else self._address
        with contextlib.suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as sender:
            sender.setblocking(False)
            sender.sendto("\n".join(line.replace("\n", " ") for line in lines).encode(), address)


def _watchdog_seconds(environment: Mapping[str, str]) -> float | None:
    """sd_watchdog_enabled(3): it counts for the process that `WATCHDOG_PID` names, or for any where it names none."""
    wanted, process = environment.get("WATCHDOG_USEC", ""), environment.get("WATCHDOG_PID", str(os.getpid()))
    if not wanted.isdecimal() or int(wanted) == 0 or process != str(os.getpid()):
        return None
    return int(wanted) / 1_000_000
