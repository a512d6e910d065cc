"""A folder: can it be written, how much room is there, what carries it, and how worn is that."""

import contextlib
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from gateway.groundwork.clocks import since_boot

_TRIAL_OCTETS = 64 * 1024
"""What the journal writes at a time is of this size."""

_SECTOR_OCTETS = 512
"""Of `/sys/block/*/stat`, whatever the disk's own are (Linux documentation, "Block layer statistics")."""

_SECTORS_WRITTEN = 6
"""The field of it, counted from 0."""

_PASSING = frozenset({"tmpfs", "ramfs"})


@dataclass(frozen=True, slots=True)
class Carrier:
    """The disk or card that carries a folder."""

    name: str
    """What the system calls it: `mmcblk0`, `sda`."""

    is_card: bool
    wear_tenths: int | None = None
    """How many tenths of its life are used up, 11 for all of it and more; None where it does not say (JEDEC eMMC 5.0,
    DEVICE_LIFE_TIME_EST; memory cards know no such thing)."""

    written_octets: int | None = None
    """Since the computer started, by whomever."""


@dataclass(frozen=True, slots=True)
class FolderFound:
    """What is to be known of a folder before a year of writing to it."""

    path: Path
    trouble: str = ""
    """Why nothing can be written there, in the system's words; empty where a trial was written and synced."""

    error: int | None = None
    """The system's number for that."""

    free_octets: int = 0
    size_octets: int = 0
    passing: bool = False
    """What stands there is gone when the computer stops."""

    carrier: Carrier | None = None
    up_seconds: float = 0


def look(folder: Path, system: Path = Path("/sys"), mounts: Path = Path("/proc/self/mountinfo")) -> FolderFound:
    """Write a trial to `folder`, take it away again, and ask the system of what it stands on."""
    trouble, error = "", None
    try:
        _write_trial(folder)
    except OSError as failure:
        trouble, error = os.strerror(failure.errno or 0), failure.errno
    try:
        room, device = os.statvfs(folder), folder.stat().st_dev
    except OSError:
        return FolderFound(folder, trouble, error)
    return FolderFound(
        folder,
        trouble,
        error,
        room.f_bavail * room.f_frsize,
        room.f_blocks * room.f_frsize,
        _file_system(device, mounts) in _PASSING,
        _carrier(device, system),
        since_boot(),
    )


def _write_trial(folder: Path) -> None:
    with tempfile.TemporaryFile(dir=folder, prefix=".stile-trial-") as trial:
        trial.write(os.urandom(_TRIAL_OCTETS))
        trial.flush()  # so that all of it is synced
        os.fsync(trial.fileno())


def _file_system(device: int, mounts: Path) -> str:
    """Which kind it is (Linux manual page proc_pid_mountinfo(5)); empty where that is not told."""
    wanted = f"{os.major(device)}:{os.minor(device)}"
    with contextlib.suppress(OSError):
        for line in mounts.read_text("utf-8", "replace").splitlines():
            mount, _, kind = line.partition(" - ")
            if wanted in mount.split()[2:3]:
                return kind.partition(" ")[0]
    return ""


def _carrier(device: int, system: Path) -> Carrier | None:
    place = system / "dev" / "block" / f"{os.major(device)}:{os.minor(device)}"
    try:
        whole = place.resolve(strict=True)
    except OSError:
        return None
    if (whole / "partition").exists():
        whole = whole.parent
    statistics = _read(whole / "stat").split()
    sectors = statistics[_SECTORS_WRITTEN] if len(statistics) > _SECTORS_WRITTEN else ""
    return Carrier(
        whole.name,
        whole.name.startswith("mmcblk"),
        _wear(_read(whole / "device" / "life_time")),
        int(sectors) * _SECTOR_OCTETS if sectors.isdecimal() else None,
    )


def _wear(text: str) -> int | None:
    """The worse of the two estimates, as `0x01 0x02`; 0 means that none is known."""
    with contextlib.suppress(ValueError):
        return max((int(word, 16) for word in text.split()), default=0) or None
    return None


def _read(path: Path) -> str:
    try:
        return path.read_text("ascii", "replace")
    except OSError:
        return ""
