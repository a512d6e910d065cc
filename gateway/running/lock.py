"""One gateway for one station file and one journal: two would both log in, and send what both hear twice.

The lock is the kernel's (flock), on the file itself: the death of its holder, of whatever kind, gives it back. So no
stale lock is ever in the way. Who holds one is read from the kernel's list of locks.
"""

import contextlib
import fcntl
import os
import re
from collections.abc import Iterable, Iterator
from pathlib import Path

from gateway.settings import StationText

_LOCKS = Path("/proc/locks")
_HOLDER = re.compile(
    r"^\d+: FLOCK +\S+ +WRITE (?P<process>\d+) (?P<major>\w+):(?P<minor>\w+):(?P<inode>\d+) ", re.MULTILINE
)
"""A line of it: `1: FLOCK  ADVISORY  WRITE 742 08:01:131077 0 EOF`, the device in hexadecimal (proc_locks(5))."""


LOGIN_TAKEN = "another hub of the club has this one's login: give each hub a callsign of its own"


class LockHeldError(Exception):
    """Another gateway runs with the same file, or with the same login. The message says which, and what to do."""


def files_of(station: StationText) -> list[Path]:
    """What no other gateway may use: the station file, and a file beside the journal, which may itself be replaced."""
    journal = station.settings.journal
    if journal is None:
        return [station.path]
    path = (station.folder / journal.path).resolve()
    return [station.path, path.with_name(f"{path.name}.lock")]


@contextlib.contextmanager
def held(paths: Iterable[Path]) -> Iterator[None]:
    """Hold the lock of each file, wherever links lead; one that is not there is made. Raises `LockHeldError`.

    A file system that knows no locks (`OSError`) is no reason not to run.
    """
    with contextlib.ExitStack() as locks:
        for path in paths:
            with contextlib.suppress(OSError):
                locks.callback(os.close, _take(path.resolve()))
        yield


def holder_of(path: Path) -> int | None:
    """The process of the gateway that runs with the file at `path`; 0: one that cannot be seen from here; None: none.

    A holder in another container is in no list that this one sees. So the lock is asked for, to share it, for as long
    as that takes; a gateway that starts at that very moment is refused, and started again by its service manager.
    """
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except OSError:
        return None
    try:
        if holder := _holder_of(os.fstat(descriptor)):
            return holder
        fcntl.flock(descriptor, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return 0
    except OSError:  # a file system that knows no locks
        return None
    finally:
        os.close(descriptor)
    return None


def _take(path: Path) -> int:
    try:
        descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
    except FileNotFoundError:
        descriptor = os.open(path, os.O_RDONLY | os.O_CREAT | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = _holder_of(os.fstat(descriptor))
        os.close(descriptor)
        who = f"the gateway of process {holder}" if holder else "another gateway"
        raise LockHeldError(f"{path}: {who} runs with this file already: stop it first") from None
    except OSError:
        os.close(descriptor)
        raise
    return descriptor


def _holder_of(status: os.stat_result) -> int:
    """The number of the process that holds the lock; 0 where it cannot be known, as from within a container."""
    with contextlib.suppress(OSError):
        for line in _HOLDER.finditer(_LOCKS.read_text()):
            device = os.makedev(int(line["major"], 16), int(line["minor"], 16))
            if (device, int(line["inode"])) == (status.st_dev, status.st_ino):
                return int(line["process"])
    return 0
