"""Files and folders that hold what was heard: for the gateway's own user alone, whatever the umask says."""

import os
import stat
from pathlib import Path

FILE_MODE = 0o600
FOLDER_MODE = 0o700

_OF_OTHERS = stat.S_IRWXG | stat.S_IRWXO


def open_private(path: Path, flags: int) -> int:
    """Open a file, made for its owner alone where there is none; returns its descriptor. Raises `OSError`."""
    is_new = not path.exists()
    descriptor = os.open(path, flags | os.O_CREAT | os.O_CLOEXEC, FILE_MODE)
    if is_new:
        os.fchmod(descriptor, FILE_MODE)  # an odd umask may have taken rights of the owner, too
    return descriptor


def make_private_folder(path: Path) -> None:
    """Make a folder for its owner alone where there is none; its parent must be there. Raises `OSError`."""
    if not path.is_dir():
        path.mkdir(FOLDER_MODE)
        path.chmod(FOLDER_MODE)


def mode_at(path: Path) -> int:
    """Kind and rights of what stands there, as `stat` has them; 0: nothing. Raises `OSError` where one may not look.

    `Path.exists` and its like raise it only before Python 3.14; later they take what is hidden for what is not there.
    """
    try:
        return path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return 0


def is_there(path: Path) -> bool:
    """Whether something stands there, as far as this user may look."""
    return os.path.exists(path)  # noqa: PTH110 - `Path.exists` raises there before Python 3.14


def is_folder(path: Path) -> bool:
    """Whether a folder stands there, as far as this user may look."""
    return os.path.isdir(path)  # noqa: PTH112 - so does `Path.is_dir`


def why_not_private(path: Path) -> str:
    """In words, what others on this computer may do with a file or folder, and the remedy; empty: nothing."""
    try:
        mode = path.stat().st_mode
    except OSError:
        return ""
    if not mode & _OF_OTHERS:
        return ""
    rights = "change" if mode & (stat.S_IWGRP | stat.S_IWOTH) else "read"
    private = FOLDER_MODE if stat.S_ISDIR(mode) else FILE_MODE
    return f"others on this computer may {rights} it: chmod {private:o} {path}"
