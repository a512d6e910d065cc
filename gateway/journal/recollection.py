"""What a journal knows of the time before this run: memories as they were dumped, and what was heard since.

The file may have been spoiled or written by others: whatever is not as it should be is passed over.
"""

import json
import sqlite3
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import takewhile
from typing import Any

from gateway.feed.heard_object import HeardPayload, Reader, judged_from
from gateway.frames.heard import Moment
from gateway.frames.plain import PlainFormError, PlainObject
from gateway.groundwork.remembered import FRAMES, Past
from gateway.journal.runs import PastRun, RunStart, shifts
from gateway.journal.schema import SEQUENCE_BITS

MAXIMUM_RECALLED = 5000
"""Frames that are heard again at most, the newest: about half a second's work, and ten minutes of the busiest channel.
Memories are dumped more often than so many frames come on a usual day."""

MAXIMUM_RUNS = 1000
"""Runs whose age is reckoned, the newest."""

MAXIMUM_OCTETS = 64 * 1024
"""Of one heard object: anything longer is none of ours."""

MAXIMUM_PIECE_OCTETS = 16 * MAXIMUM_OCTETS
"""Of one piece of a memory."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is asked of the journal at the start of a run."""

    memory_names: Sequence[str]
    now: RunStart
    read: Reader
    recent: int = 0
    """So many of the frames heard last are wanted in any case."""


@dataclass(slots=True)
class DumpedMemory:
    """One memory as it was dumped."""

    version: int
    until: int
    """The id of the last row of `heard` that it knows of."""

    pieces: list[tuple[PlainObject, Past[HeardPayload]]] = field(default_factory=list)


@dataclass(slots=True)
class Recollection:
    """What is known of the time before."""

    dumped_by_name: dict[str, DumpedMemory] = field(default_factory=dict)
    frames: list[tuple[int, HeardPayload]] = field(default_factory=list)
    """Frames with the ids of their rows, in the order in which they were heard, their moments in this run's time."""


def recollect(connection: sqlite3.Connection, wanted: Wanted, this_run: int) -> Recollection:
    """All that is `wanted`. Raises `sqlite3.Error`."""
    shift_of = shifts(_past_runs(connection, this_run), wanted.now)
    rows = _RecalledRows(connection, shift_of, wanted.read)
    recollection = Recollection()
    for name in wanted.memory_names:
        dumped = _dumped(connection, name, rows)
        if dumped is not None:
            recollection.dumped_by_name[name] = dumped
    since = min((dumped.until for dumped in recollection.dumped_by_name.values()), default=0)
    recollection.frames = rows.newest(since, this_run << SEQUENCE_BITS, wanted.recent)
    return recollection


def _past_runs(connection: sqlite3.Connection, this_run: int) -> list[PastRun]:
    """The runs before this one, the oldest first, each with the latest that is known of it: its last frame."""
    rows = connection.execute(
        "SELECT id, boot, boot_ms, started_ms FROM runs WHERE id < ? ORDER BY id DESC LIMIT ?", (this_run, MAXIMUM_RUNS)
    ).fetchall()
    runs = []
    for number, boot, boot_ms, started_ms in reversed(rows):
        if not isinstance(started_ms, int):
            continue
        last = connection.execute(
            "SELECT object FROM heard WHERE id BETWEEN ? AND ? ORDER BY id DESC LIMIT 1",
            (number << SEQUENCE_BITS, (number + 1 << SEQUENCE_BITS) - 1),
        ).fetchone()
        moment = None if last is None else _moment_in(last[0])
        runs.append(
            PastRun(
                number,
                boot if isinstance(boot, str) else None,
                boot_ms if isinstance(boot_ms, int) else None,
                moment or Moment(0, started_ms),
            )
        )
    return runs


def _moment_in(text: object) -> Moment | None:
    plain = object_in(text, MAXIMUM_OCTETS)
    try:
        return None if plain is None else judged_from(plain).heard.moment
    except PlainFormError:
        return None


def _dumped(connection: sqlite3.Connection, name: str, rows: "_RecalledRows") -> DumpedMemory | None:
    row = connection.execute("SELECT version, run, until FROM remembered WHERE name = ?", (name,)).fetchone()
    match row:
        case (int(version), int(run), int(until)):
            dumped = DumpedMemory(version, until)
        case _:
            return None
    for (text,) in connection.execute("SELECT value FROM pieces WHERE name = ? ORDER BY number", (name,)):
        piece = object_in(text, MAXIMUM_PIECE_OCTETS)
        if piece is not None:
            dumped.pieces.append((piece, Past(rows.shift_of.get(run, 0), rows.named_in(piece))))
    return dumped


@dataclass(slots=True)
class _RecalledRows:
    """The rows of `heard`, as payloads in this run's time."""

    connection: sqlite3.Connection
    shift_of: Mapping[int, int]
    read: Reader
    runs: dict[str, int | None] = field(default_factory=dict)

    def newest(self, since: int, below: int, recent: int) -> list[tuple[int, HeardPayload]]:
        """Frames with ids above `since`, and the `recent` last ones in any case, in the order of their ids."""
        rows = self.connection.execute(
            "SELECT id, object FROM heard WHERE id < ? ORDER BY id DESC LIMIT ?", (below, MAXIMUM_RECALLED)
        )
        wanted = takewhile(lambda numbered: numbered[1][0] > since or numbered[0] < recent, enumerate(rows))
        payloads = [(number, self._payload(number, text)) for _, (number, text) in wanted]
        return [(number, payload) for number, payload in reversed(payloads) if payload is not None]

    def named_in(self, piece: Mapping[str, Any]) -> list[HeardPayload | None]:
        """The frames that a piece names."""
        named = piece.get(FRAMES)
        return [self._named(entry) for entry in named] if isinstance(named, list) else []

    def _named(self, entry: object) -> HeardPayload | None:
        match entry:
            case [str(identity), int(sequence)] if 0 <= sequence < 1 << SEQUENCE_BITS:
                run = self._run(identity)
            case _:
                return None
        if run is None:
            return None
        number = run << SEQUENCE_BITS | sequence
        row = self.connection.execute("SELECT object FROM heard WHERE id = ?", (number,)).fetchone()
        return None if row is None else self._payload(number, row[0])

    def _run(self, identity: str) -> int | None:
        if identity not in self.runs:
            row = self.connection.execute("SELECT id FROM runs WHERE identity = ?", (identity,)).fetchone()
            self.runs[identity] = None if row is None else row[0]
        return self.runs[identity]

    def _payload(self, number: object, text: object) -> HeardPayload | None:
        plain = object_in(text, MAXIMUM_OCTETS)
        shift_ms = self.shift_of.get(number >> SEQUENCE_BITS) if isinstance(number, int) else None
        if plain is None or shift_ms is None or not isinstance(text, str):
            return None
        try:
            judged = judged_from(plain)
        except PlainFormError:
            return None
        moment = judged.heard.moment
        # No frame is from the time to come, whatever the file says.
        moment = Moment(min(moment.elapsed_ms + shift_ms, 0), moment.time_ms)
        judged = replace(judged, heard=replace(judged.heard, moment=moment))
        return HeardPayload(judged, self.read, encoded=text.encode("utf-8"))


def object_in(text: object, maximum: int) -> PlainObject | None:
    """The object that JSON text from a file holds; None: it is no such text, or longer than `maximum`."""
    if not isinstance(text, str) or len(text) > maximum:
        return None
    try:
        plain = json.loads(text)
    except (ValueError, RecursionError):
        return None
    return plain if isinstance(plain, dict) else None
