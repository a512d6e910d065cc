"""Takes one station's history out of what is kept on disk: the journal, the file beside it, its sums, the captures.

For a journal that no gateway writes. What is deleted is overwritten with zeros in the file (SQLite, PRAGMA
secure_delete); what a disk keeps of its own accord is beyond us.
"""

import base64
import binascii
import contextlib
import gzip
import os
import sqlite3
import stat
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from gateway.feed.heard_object import encode
from gateway.frames.capture import BadLine, read_object
from gateway.frames.plain import PlainFormError
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.expanding import CompressionError
from gateway.groundwork.private_files import mode_at, open_private
from gateway.history.distances import IMPLAUSIBLE, class_of
from gateway.journal import schema
from gateway.journal.capture import is_capture
from gateway.journal.reading import read_lines
from gateway.journal.recollection import MAXIMUM_PIECE_OCTETS, object_in
from gateway.journal.store import pending_path
from gateway.journal.trouble import explained

BUSY_SECONDS = 5.0

_FORGET_FRAMES = (
    "DELETE FROM heard WHERE source = ? OR (json_valid(object) AND json_extract(object, '$.outer.source') = ?)"
)
"""Its own, and those that it relayed as third party."""


@dataclass(slots=True)
class Forgotten:
    """What was taken out."""

    frames: int = 0
    """Of the journal and of the file beside it."""

    days: int = 0
    """Of the sums by station."""

    captured: int = 0
    """Frames of captures."""

    rewritten: int = 0
    """Captures that held some."""


def forget(journal: Path | None, captures: Path | None, source: str) -> Forgotten:
    """Take a station out of a journal, of the file beside it, and of the captures in a folder. Raises `JournalError`.

    Lines of captures that cannot be read go with it.
    """
    forgotten = Forgotten()
    if journal is not None:
        with explained(journal):
            if mode_at(journal):
                _forget_in_journal(journal, source, forgotten)
        pending = pending_path(journal)
        with explained(pending):
            if mode_at(pending):
                _forget_in_pending(pending, source, forgotten)
    if captures is not None:
        with explained(captures):
            for path in sorted(captures.iterdir()) if stat.S_ISDIR(mode_at(captures)) else ():
                if is_capture(path.name):
                    _forget_in_capture(path, source, forgotten)
    return forgotten


def _forget_in_journal(path: Path, source: str, forgotten: Forgotten) -> None:
    with contextlib.closing(sqlite3.connect(path, timeout=BUSY_SECONDS, isolation_level=None)) as connection:
        schema.require_ours(connection, path)
        schema.migrate(connection, path)
        connection.execute("PRAGMA secure_delete = ON").fetchall()
        connection.execute("BEGIN IMMEDIATE")
        _forget_distances(connection, source)
        forgotten.frames += connection.execute(_FORGET_FRAMES, (source, source)).rowcount
        forgotten.days += connection.execute("DELETE FROM days_of_stations WHERE source = ?", (source,)).rowcount
        connection.execute("DELETE FROM days_of_reach WHERE source = ?", (source,))
        _forget_memories(connection, source)
        connection.execute("COMMIT")
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()


def _forget_in_pending(path: Path, source: str, forgotten: Forgotten) -> None:
    lines = path.read_bytes().split(b"\n")
    lines_of_others = [line for line in lines if not _is_of(line, source)]
    frames = len(lines) - len(lines_of_others)
    if frames:
        _replace(path, b"\n".join(lines_of_others))
    forgotten.frames += frames


def without(value: Any, source: str) -> Any:  # noqa: ANN401 - any part of JSON
    """What JSON holds, without the entries of lists and the keys of objects that are about the station."""
    if isinstance(value, dict):
        return {key: without(below, source) for key, below in value.items() if key != source}
    if isinstance(value, list):
        return [without(below, source) for below in value if not _mentions(below, source)]
    return value


def _forget_distances(connection: sqlite3.Connection, source: str) -> None:
    """Take its frames out of the classes of distance; where it alone was heard from a sector, all of a day's."""
    select = "SELECT time_ms, sector, distance_m FROM heard WHERE source = ? AND sector IS NOT NULL"
    classes = Counter(
        (time_ms // DAY_MS, sector, class_of(distance_m))
        for time_ms, sector, distance_m in connection.execute(select, (source,))
        if sector != IMPLAUSIBLE
    )
    connection.executemany(
        "UPDATE days_of_distance SET frames = frames - ? WHERE day = ? AND sector = ? AND class = ?",
        [(frames, *key) for key, frames in classes.items()],
    )
    alone = "SELECT day, sector FROM days_of_reach GROUP BY day, sector HAVING count(*) = 1 AND max(source) = ?"
    connection.execute(f"DELETE FROM days_of_distance WHERE frames <= 0 OR (day, sector) IN ({alone})", (source,))  # noqa: S608 - words of ours


def _forget_memories(connection: sqlite3.Connection, source: str) -> None:
    """Memories name a station's last frame, and what it raised; those whose frame is gone restore nothing."""
    for table in ("pieces", "beginnings"):
        key = "name" if table == "pieces" else "run"
        rows = connection.execute(f"SELECT {key}, number, value FROM {table}").fetchall()  # noqa: S608 - names of ours
        for name, number, text in rows:
            piece = object_in(text, MAXIMUM_PIECE_OCTETS)
            if piece is None:  # it is spoilt and restores nothing, but its octets may name the station
                connection.execute(f"DELETE FROM {table} WHERE {key} = ? AND number = ?", (name, number))  # noqa: S608 - names of ours
            elif (piece_without := without(piece, source)) != piece:
                update = f"UPDATE {table} SET value = ? WHERE {key} = ? AND number = ?"  # noqa: S608 - names of ours
                connection.execute(update, (encode(piece_without).decode("utf-8"), name, number))


def _forget_in_capture(path: Path, source: str, forgotten: Forgotten) -> None:
    """It is rewritten where there are frames of the station in it."""
    lines_of_others: list[bytes] = []
    frames = 0
    with path.open("rb") as file, contextlib.suppress(CompressionError):  # one that was cut off ends where it does
        for line in read_lines(file):
            if isinstance(line, BadLine):
                continue
            if _is_of(line.octets, source):
                frames += 1
            else:
                lines_of_others.append(_beginning_without(line.octets, source))
    if frames:
        _replace(path, gzip.compress(b"".join([b"%b\n" % line for line in lines_of_others])))
    forgotten.captured += frames
    forgotten.rewritten += frames > 0


def _beginning_without(line: bytes, source: str) -> bytes:
    if b'"began_with"' not in line:
        return line
    try:
        return encode(without(read_object(line), source))
    except PlainFormError:
        return line


def _is_of(line: bytes, source: str) -> bool:
    """Whether a line holds a frame that the station sent, its own or one that it relayed as third party."""
    if source.encode("ascii") not in line:
        return False
    try:
        plain = read_object(line)
    except PlainFormError:
        return False
    outer = plain.get("outer")
    return plain.get("source") == source or (isinstance(outer, Mapping) and outer.get("source") == source)


def _mentions(value: object, source: str) -> bool:
    """Whether something is about the station: its call, a thing that it placed, or the key of one of its frames."""
    if isinstance(value, str):
        return value == source or value.startswith(f"{source} ") or _is_key_of(value, source)
    if isinstance(value, dict):
        return any(_mentions(below, source) for below in value.values())
    return isinstance(value, list) and any(_mentions(below, source) for below in value)


def _is_key_of(text: str, source: str) -> bool:
    """Whether it is the key by which the judge knows a frame again, in base64: `SOURCE>DESTINATION:…`."""
    try:
        return base64.b64decode(text, validate=True).startswith(f"{source}>".encode("ascii"))
    except (ValueError, binascii.Error):
        return False


def _replace(path: Path, octets: bytes) -> None:
    """Put a file in the place of another at once. Raises `OSError`."""
    beside = path.with_name(f"{path.name}.new")
    with os.fdopen(open_private(beside, os.O_WRONLY | os.O_TRUNC), "wb") as file:
        file.write(octets)
        file.flush()
        os.fsync(file.fileno())
    beside.replace(path)
