"""Writes all files or none, over nothing that is there: whatever ends it halfway, what it made is taken away again."""

import contextlib
import os
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path

from gateway.setup.files import NewFile

_FOLDER_MODE, _PRIVATE_FOLDER_MODE = 0o755, 0o700


def write_all(folder: Path, files: Iterable[NewFile]) -> None:
    """Make the folder and the files in it. Raises `OSError`: `FileExistsError` where one is there already."""
    with ExitStack() as undone:
        for name in folder.absolute().parents[::-1]:
            _make_folder(name, _FOLDER_MODE, undone)
        _make_folder(folder, _FOLDER_MODE, undone)
        for file in files:
            path = folder / file.name
            if path.parent != folder:
                _make_folder(path.parent, _PRIVATE_FOLDER_MODE, undone)
            _make_file(path, file, undone)
        undone.pop_all()


def _make_folder(path: Path, mode: int, undone: ExitStack) -> None:
    if path.is_dir():
        return
    path.mkdir(mode)
    undone.callback(_suppressed, path.rmdir)
    path.chmod(mode)


def _make_file(path: Path, file: NewFile, undone: ExitStack) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_CLOEXEC, file.mode)
    undone.callback(_suppressed, path.unlink)
    with os.fdopen(descriptor, "w", encoding="utf-8") as opened:
        os.fchmod(descriptor, file.mode)  # an odd umask may have taken rights of the owner, too
        opened.write(file.text)
        opened.flush()
        os.fsync(descriptor)


def _suppressed(undo: Callable[[], None]) -> None:
    with contextlib.suppress(OSError):
        undo()
