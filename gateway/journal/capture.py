"""Captures: heard objects, one a line, in files compressed with gzip that a crash leaves readable up to that moment.

The first of a run begins with what the judge remembered then, so that a replay decides as the gateway did.
"""

import contextlib
import os
import re
import tempfile
import time
import zlib
from collections.abc import Callable, Sequence
from pathlib import Path

import structlog
from pydantic_core import to_json

from gateway.frames.heard import Moment, Run
from gateway.groundwork.part import PartKind, Trouble
from gateway.groundwork.private_files import make_private_folder, open_private, why_not_private
from gateway.journal.batch import Batch
from gateway.journal.options import CaptureOptions
from gateway.journal.recorder import Recorder
from gateway.journal.trouble import explain_system, explained

_log = structlog.get_logger()

_FILE_NAME = re.compile(r"heard-\d{8}T\d{6}Z-[0-9A-Za-z_-]{1,64}-\d{6}\.jsonl\.gz")
"""`heard-`, when it was begun in UTC, the run, and which file of the run it is. In the order of names, oldest first."""

_GZIP_WINDOW_BITS = 31
"""Of zlib: the largest window, with a gzip header and trailer around the data."""


def is_capture(name: str) -> bool:
    """Whether a file of this name is a capture of ours."""
    return _FILE_NAME.fullmatch(name) is not None


class OpenCapture:
    """One file, while it is written: whatever was appended can be read even if the file is never ended."""

    def __init__(self, path: Path, begun_ms: int) -> None:
        """Creates the file. Raises `OSError`, also where there is one."""
        self.path = path
        self.begun_ms = begun_ms
        self.octets = 0
        self._deflater = zlib.compressobj(wbits=_GZIP_WINDOW_BITS)
        self._file = os.fdopen(open_private(path, os.O_WRONLY | os.O_EXCL), "wb", buffering=0)

    def append(self, lines: Sequence[bytes]) -> None:
        """Append lines, given without their ends. Raises `OSError`: then none of them is in it, and it is closed."""
        plain = b"".join([b"%b\n" % line for line in lines])
        self._write(self._deflater.compress(plain) + self._deflater.flush(zlib.Z_SYNC_FLUSH))

    def settle(self) -> None:
        """See what was appended on the disk. Raises `OSError`."""
        os.fsync(self._file.fileno())

    def is_in_place(self) -> bool:
        """Whether the file still stands under its name."""
        try:
            return os.path.samestat(os.fstat(self._file.fileno()), self.path.stat())
        except OSError:
            return False

    def leave(self) -> None:
        """Close it as it is: it was moved away or deleted."""
        with contextlib.suppress(OSError):
            self._file.close()

    def end(self) -> None:
        """Write the trailer, see the file on the disk and close it. Raises `OSError`."""
        self._write(self._deflater.flush())
        try:
            os.fsync(self._file.fileno())
        finally:
            self._file.close()

    def _write(self, compressed: bytes) -> None:
        try:
            rest = memoryview(compressed)
            while rest:
                rest = rest[self._file.write(rest) :]
        except OSError:
            # The compressor is past what did not go: the file stops here, at the end of a line.
            with contextlib.suppress(OSError):
                self._file.truncate(self.octets)
            self._file.close()
            if not self.octets:
                self.path.unlink(missing_ok=True)
            raise
        self.octets += len(compressed)


def began_with(run: str, piece: bytes) -> bytes:
    """The line that says what the judge of a run remembered when it began: a piece of its memory, as JSON."""
    return b'{"run":%b,"began_with":%b}' % (to_json(run), piece)


class CaptureWriter:
    """Writes the captures of one run, a file after the other; the oldest of any run make room for the next."""

    notice: Trouble | None = None
    """It works or it does not."""

    def __init__(self, options: CaptureOptions, run: str, now_ms: Callable[[], int]) -> None:
        """`now_ms` is the clock, in Unix milliseconds. Opens nothing yet."""
        self._options = options
        self._run = run
        self._now_ms = now_ms
        self._files = 0
        self._open: OpenCapture | None = None
        self._is_tried = False
        self._first_lines: list[bytes] = []
        """They wait for the first frame: a run that hears nothing leaves no file."""

        self._taken: Batch | None = None

    def write(self, batch: Batch) -> None:
        """Append the frames of `batch`, and see all of the file on the disk where it says so. Raises `JournalError`."""
        if batch is not self._taken:
            if batch.beginning is not None:
                self._first_lines = [began_with(self._run, piece) for piece in batch.beginning.encoded]
            lines = [row.encoded for row in batch.rows]
            self.append([*self._first_lines, *lines] if lines else [])
            self._first_lines = [] if lines else self._first_lines
            self._taken = batch
        if batch.settles and self._open is not None:
            with explained(self._open.path):
                self._open.settle()
        batch.may_wait = False  # what was appended stands in its place
        self._taken = None

    def look(self) -> bool:
        """See whether the file is in its place; where not, the folder is made, and the next frame begins a new file."""
        if self._open is None or self._open.is_in_place():
            return False
        _log.warning("captures were moved or deleted: new ones are begun", path=str(self._open.path))
        self._open.leave()
        self._open = None
        with explained(self._options.folder):
            make_private_folder(self._options.folder)
        return True

    def append(self, lines: Sequence[bytes]) -> None:
        """Append lines, given without their ends, all of them or none; with none, see that one could.

        Raises `JournalError`.
        """
        path = self._options.folder
        try:
            if not lines:
                self._try_folder()
                return
            if self._open is not None and self._open.octets >= self._options.file_octets:
                self._end()
            file = self._open or self._begin()
            path = file.path
            file.append(lines)
        except OSError as error:
            self._open = None
            raise explain_system(error, path) from None

    def tidy(self, moment: Moment) -> bool:
        """End a file that was begun too long ago, so that it is whole. Raises `JournalError`."""
        file = self._open
        if file is not None and abs(moment.time_ms - file.begun_ms) >= self._options.file_ms:  # a clock may be set back
            with explained(file.path):
                self._end()
        return False

    def close(self) -> None:
        """End the file."""
        with contextlib.suppress(OSError):
            self._end()

    def _try_folder(self) -> None:
        """See, once, that files can be written there, without leaving one."""
        if not self._is_tried:
            make_private_folder(self._options.folder)
            with tempfile.TemporaryFile(dir=self._options.folder):
                pass
            self._is_tried = True

    def _begin(self) -> OpenCapture:
        self._make_room()
        self._files += 1
        now_ms = self._now_ms()
        begun = time.strftime("%Y%m%dT%H%M%SZ", time.gmtime(now_ms // 1000))
        path = self._options.folder / f"heard-{begun}-{self._run}-{self._files:06d}.jsonl.gz"
        self._open = OpenCapture(path, now_ms)
        return self._open

    def _end(self) -> None:
        file, self._open = self._open, None
        if file is not None:
            file.end()

    def _make_room(self) -> None:
        """Delete the oldest files until one more has room, and nothing else that may lie in the folder."""
        make_private_folder(self._options.folder)
        open_to_others = why_not_private(self._options.folder)
        if open_to_others and not self._files:
            _log.warning("the captures are not private", path=str(self._options.folder), why=open_to_others)
        files = sorted(path for path in self._options.folder.iterdir() if is_capture(path.name))
        sizes = [path.stat().st_size for path in files]
        room = self._options.octets - self._options.file_octets
        for path, size in zip(files, sizes, strict=True):
            if sum(sizes) <= room:
                break
            path.unlink()
            sizes.remove(size)


class CaptureKeeper(Recorder):
    """Keeps captures of one run for as long as it runs. See `Recorder` for how it is run and drained."""

    def __init__(self, options: CaptureOptions, run: Run) -> None:
        """Opens nothing yet."""
        writer = CaptureWriter(options, run.identity, lambda: run.now().time_ms)
        super().__init__(PartKind.CAPTURES, writer, run.now, limits=options.limits, pace=options.pace)
