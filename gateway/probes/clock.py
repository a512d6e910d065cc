"""What this computer knows of its clock: is it set by others, has it a chip that runs on, which server sets it."""

import re
import time
from dataclasses import dataclass
from pathlib import Path

from gateway.groundwork.clocks import is_synchronised

_SYNCHRONISERS = (
    (Path("/etc/systemd/timesyncd.conf"), re.compile(r"^\s*NTP\s*=\s*(\S+)", re.MULTILINE)),
    (Path("/etc/chrony/chrony.conf"), re.compile(r"^\s*(?:server|pool)\s+(\S+)", re.MULTILINE)),
    (Path("/etc/chrony.conf"), re.compile(r"^\s*(?:server|pool)\s+(\S+)", re.MULTILINE)),
    (Path("/etc/ntpsec/ntp.conf"), re.compile(r"^\s*(?:server|pool)\s+(\S+)", re.MULTILINE)),
    (Path("/etc/ntp.conf"), re.compile(r"^\s*(?:server|pool)\s+(\S+)", re.MULTILINE)),
)
"""Where the usual programs that set a clock are told whom to ask (their own manual pages)."""

_LONGEST_SETTINGS = 64 * 1024


@dataclass(frozen=True, slots=True)
class ClockFound:
    """How the clock stands."""

    now_ms: int
    """What it shows, Unix milliseconds."""

    synchronised: bool
    chip: bool
    """Whether the computer has a clock that runs on without power."""


def look(system: Path = Path("/sys")) -> ClockFound:
    """Look at the clock."""
    chips = system / "class" / "rtc"
    return ClockFound(int(time.time() * 1000), is_synchronised(), chips.is_dir() and any(chips.iterdir()))


def own_time_server(root: Path = Path("/")) -> str | None:
    """The time server that this computer was told to ask; None where none is named."""
    for path, line in _SYNCHRONISERS:
        try:
            with (root / path.relative_to("/")).open(encoding="utf-8", errors="replace") as file:
                server = line.search(file.read(_LONGEST_SETTINGS))
        except OSError:
            continue
        if server is not None:
            return server[1]
    return None
