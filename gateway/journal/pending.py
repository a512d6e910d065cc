"""What is not in the journal yet, in a small file beside it: it outlives a process that is killed.

What was written stands in the system's memory at once, which outlives the process though not the computer. Every minute
or so the file is synced, and then a loss of power does not take it either: to append to a file costs a disk little, and
a transaction much. What is in the journal is cut off here.

It is lines of JSON. The object of a run stands before the heard objects of that run, as they were published, and
between them stands when the line of which frame was sent. The last line may be cut off.
"""

import contextlib
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from gateway.feed.heard_object import encode, judged_from
from gateway.frames.capture import CaptureLine, CaptureLines, read_object
from gateway.frames.plain import HIGHEST_NUMBER, PlainFormError, PlainObject
from gateway.groundwork.private_files import mode_at, open_private
from gateway.journal.batch import Batch, Row, row_of
from gateway.journal.runs import RunRecord
from gateway.journal.schema import SEQUENCE_BITS

READ_OCTETS = 64 * 1024

MAXIMUM_OCTETS = 16 * 1024 * 1024
"""What is read of one file at most: many times what the gateway lets wait."""

LONGEST_WORD = 200

_RUN = "pending_of"
_SENT = "sent"


@dataclass(slots=True)
class PendingRun:
    """What one run left behind."""

    record: RunRecord
    rows: list[Row] = field(default_factory=list)
    sent: dict[int, int] = field(default_factory=dict)


class PendingFile:
    """The file, while one run writes it."""

    def __init__(self, path: Path, record: RunRecord) -> None:
        """Opens nothing yet."""
        self.path = path
        self._first_line = encode({
            _RUN: record.identity, "started_ms": record.started_ms, "callsign": record.callsign,
            "policy": record.policy, "boot": record.boot, "boot_ms": record.boot_ms,
        })  # fmt: skip
        self._descriptor: int | None = None
        self._octets = 0
        """Of whole lines."""

        self._is_whole = True
        """Whether all stands in it that is not in the journal: not where it was moved away meanwhile."""

        self._is_named = False
        """Whether its name is on the disk, too."""

    def append(self, batch: Batch) -> None:
        """Append what came of the air in `batch`. Raises `OSError`: then nothing of it is in the file."""
        lines = [row.encoded for row in batch.rows]
        lines += [encode({_SENT: sequence, "at_ms": at_ms}) for sequence, at_ms in batch.sent.items()]
        if not lines:
            return
        if self._descriptor is not None and not self.is_in_place():
            self.close()
        if self._descriptor is None:
            self._descriptor = open_private(self.path, os.O_WRONLY | os.O_APPEND)
            self._octets = os.fstat(self._descriptor).st_size
            lines.insert(0, b"\n" + self._first_line)  # what stands before may be cut off
        elif not self._octets:
            lines.insert(0, self._first_line)
        self._write(self._descriptor, b"".join([b"%b\n" % line for line in lines]))

    def settle(self) -> bool:
        """See all on the disk that is not in the journal; returns whether it is."""
        if not (self._is_whole and self.is_in_place()):
            return False
        if self._descriptor is None or not self._octets:
            return True
        try:
            os.fsync(self._descriptor)
            if not self._is_named:
                _settle_folder(self.path.parent)
                self._is_named = True
        except OSError:
            return False
        return True

    def is_in_place(self) -> bool:
        """Whether the file that is open still stands under its name."""
        if self._descriptor is None:
            return True
        try:
            return os.path.samestat(os.fstat(self._descriptor), self.path.stat())
        except OSError:
            return False

    def clear(self) -> None:
        """All is in the journal. What cannot be emptied is taken in again at the next start, which changes nothing."""
        self._is_whole = True
        with contextlib.suppress(OSError):
            if self._descriptor is not None:
                os.ftruncate(self._descriptor, 0)
            elif self.path.exists():
                os.truncate(self.path, 0)
            self._octets = 0

    def close(self) -> None:
        """Close it; an empty one is deleted."""
        descriptor, self._descriptor = self._descriptor, None
        self._is_whole = self._is_whole and not self._octets
        self._is_named = False
        with contextlib.suppress(OSError):
            if descriptor is not None:
                os.close(descriptor)
            if not self.path.stat().st_size:
                self.path.unlink()

    def _write(self, descriptor: int, octets: bytes) -> None:
        rest = memoryview(octets)
        try:
            while rest:
                rest = rest[os.write(descriptor, rest) :]
        except OSError:
            with contextlib.suppress(OSError):
                os.ftruncate(descriptor, self._octets)
            raise
        self._octets += len(octets)


def _settle_folder(folder: Path) -> None:
    """See the names of its files on the disk (Linux manual page fsync(2), notes). Raises `OSError`."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read_pending(path: Path) -> list[PendingRun]:
    """What runs left behind in the file at `path`; what cannot be read of it is passed over. Raises `OSError`."""
    runs: dict[str, PendingRun] = {}
    run: PendingRun | None = None
    for octets in _lines_in(path):
        with contextlib.suppress(PlainFormError, ValueError):
            plain = read_object(octets)
            if _RUN in plain:
                record = _record_of(plain)
                run = runs.setdefault(record.identity, PendingRun(record))
            elif run is not None and _SENT in plain:
                run.sent[_number(plain[_SENT], 1 << SEQUENCE_BITS)] = _number(plain.get("at_ms"))
            elif run is not None:
                run.rows.append(_row_of(plain, octets, run.record))
    return list(runs.values())


def _lines_in(path: Path) -> Iterator[bytes]:
    if not stat.S_ISREG(mode_at(path)):  # a pipe would be waited for without end
        return
    lines = CaptureLines()
    with path.open("rb") as file:
        for _ in range(MAXIMUM_OCTETS // READ_OCTETS):
            octets = file.read(READ_OCTETS)
            for line in lines.feed(octets) if octets else lines.end():
                if isinstance(line, CaptureLine):
                    yield line.octets
            if not octets:
                return


def _record_of(plain: PlainObject) -> RunRecord:
    started_ms, boot, boot_ms = (plain.get(name) for name in ("started_ms", "boot", "boot_ms"))
    has_boot = boot is not None and boot_ms is not None
    return RunRecord(
        *(_word(plain.get(_RUN)), _number(started_ms), _word(plain.get("callsign")), _word(plain.get("policy"))),
        boot=_word(boot) if has_boot else None,
        boot_ms=_number(boot_ms) if has_boot else None,
    )


def _row_of(plain: PlainObject, octets: bytes, record: RunRecord) -> Row:
    judged = judged_from(plain)
    source = plain.get("source")
    octets.decode("utf-8")
    if judged.heard.run != record.identity or not (isinstance(source, str | None) and (source or "").isascii()):
        raise ValueError
    _number(judged.heard.sequence, 1 << SEQUENCE_BITS)
    return row_of(judged, octets)


def _number(value: object, below: int = HIGHEST_NUMBER) -> int:
    if not isinstance(value, int) or not 0 <= value < below:
        raise ValueError
    return value


def _word(value: object) -> str:
    if not (isinstance(value, str) and value.isprintable() and len(value) <= LONGEST_WORD):
        raise ValueError
    return value
