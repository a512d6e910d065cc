"""The statements that write the journal. Each belongs to a transaction of the caller's."""

import json
import sqlite3
from collections.abc import Callable, Iterable, Mapping, Sequence

from gateway.frames.heard import Place
from gateway.history.distances import Measured
from gateway.journal import sums
from gateway.journal.batch import Dump, PolicyTexts, Row
from gateway.journal.runs import RunRecord
from gateway.journal.schema import SEQUENCE_BITS

ROWS_OF_A_STATEMENT = 32
"""One statement for many rows: the interpreter's lock is let go and taken back once, not once a row."""

STEP_ROWS = 1000
"""How many frames are deleted at one go: all of an hour, mostly. A page of the file is written for each step that it is
in, so that more and smaller steps would wear a memory card out. One takes milliseconds."""

STEP_PAGES = 200
"""How many free pages are given back to the file system at one go."""

FREE_PAGES_KEPT = 4096
"""Free pages serve what comes next; only what is free beyond this, and beyond a quarter of all, is given back."""

_COLUMNS = "(id, time_ms, source, reason, sent_ms, object, distance_m, sector)"
_PLACES = "(?, ?, ?, ?, ?, ?, ?, ?)"


Measure = Callable[[Place, Place | None], Measured | None]
"""Where a place lies, as seen from another, or from this station's antenna; None where nobody knows where that is."""


def run_number(connection: sqlite3.Connection, run: RunRecord) -> int:
    """The number of a run, a new one where the file does not know it."""
    row = connection.execute("SELECT id FROM runs WHERE identity = ?", (run.identity,)).fetchone()
    if row is None:
        columns = "identity, started_ms, callsign, policy, boot, boot_ms"
        values = (run.identity, run.started_ms, run.callsign, run.policy, run.boot, run.boot_ms)
        connection.execute(f"INSERT INTO runs ({columns}) VALUES (?, ?, ?, ?, ?, ?)", values)  # noqa: S608 - no value is in the text
        return run_number(connection, run)
    return int(row[0])


def insert_heard(
    connection: sqlite3.Connection, run: int, rows: Sequence[Row], sent: Mapping[int, int], measure: Measure
) -> None:
    """Frames of that run, and by their sequence when lines of it were sent. What is there already stays as it is.

    What is new of it goes into the sums, too.
    """
    first = run << SEQUENCE_BITS
    new: list[tuple[Row, Measured | None]] = []
    for start in range(0, len(rows), ROWS_OF_A_STATEMENT):
        some = rows[start : start + ROWS_OF_A_STATEMENT]
        numbers_there = _known(connection, [first | row.sequence for row in some])
        values: list[object] = []
        for row in some:
            text = row.encoded.decode("utf-8")
            measured = None if row.place is None else measure(row.place, row.heard_at)
            away = (None, None) if measured is None else (measured.distance_m, measured.sector)
            number = first | row.sequence
            values += (number, row.time_ms, row.source, row.reason, sent.get(row.sequence), text, *away)
            if number not in numbers_there:
                numbers_there.add(number)
                new.append((row, measured))
        # On conflict: where a commit was said to have failed and had not, the same rows come again.
        places = ", ".join([_PLACES] * len(some))
        connection.execute(f"INSERT INTO heard {_COLUMNS} VALUES {places} ON CONFLICT (id) DO NOTHING", values)  # noqa: S608 - no value is in the text
    here = {row.sequence for row, _ in new}
    newly_sent = [at_ms for sequence, at_ms in sent.items() if sequence in here]
    for sequence, at_ms in sent.items():
        if sequence not in here:
            values = [at_ms, first | sequence]
            changed = connection.execute("UPDATE heard SET sent_ms = ? WHERE id = ? AND sent_ms IS NULL", values)
            newly_sent += [at_ms] * changed.rowcount
    sums.add(connection, new, newly_sent)


def _known(connection: sqlite3.Connection, numbers: Sequence[int]) -> set[int]:
    """Those of the frames with these ids that are there already."""
    places = ", ".join("?" * len(numbers))
    return {number for (number,) in connection.execute(f"SELECT id FROM heard WHERE id IN ({places})", numbers)}  # noqa: S608 - no value is in the text


def insert_policy(connection: sqlite3.Connection, policy: PolicyTexts) -> None:
    """A policy that came into force, unless it is the one before."""
    texts = _encode_texts(policy.texts)
    last = connection.execute("SELECT label, texts FROM policies ORDER BY id DESC LIMIT 1").fetchone()
    if last != (policy.label, texts):
        values = (policy.since_ms, policy.label, texts)
        connection.execute("INSERT INTO policies (since_ms, label, texts) VALUES (?, ?, ?)", values)


def insert_dump(connection: sqlite3.Connection, run: int, dump: Dump) -> None:
    """A memory as that run dumped it, in place of what is kept of it; or only up to where it is still so."""
    until = run << SEQUENCE_BITS | dump.heard
    if not dump.changed:
        connection.execute("UPDATE remembered SET until = ? WHERE name = ?", (until, dump.name))
        return
    connection.execute("DELETE FROM pieces WHERE name = ?", (dump.name,))
    pieces = [(dump.name, number, piece.decode("utf-8")) for number, piece in enumerate(dump.encoded)]
    connection.executemany("INSERT INTO pieces VALUES (?, ?, ?)", pieces)
    connection.execute("INSERT OR REPLACE INTO remembered VALUES (?, ?, ?, ?)", (dump.name, dump.version, run, until))


def insert_beginning(connection: sqlite3.Connection, run: int, beginning: Dump) -> None:
    """What the judge remembered when that run began."""
    pieces = [(run, number, piece.decode("utf-8")) for number, piece in enumerate(beginning.encoded)]
    connection.executemany("INSERT OR IGNORE INTO beginnings VALUES (?, ?, ?)", pieces)


def keep_within(connection: sqlite3.Connection, octets: int, *, added: int) -> None:
    """Make room for so many frames that were added: past `octets` the oldest go, twice as many."""
    size, pages, free = (_number(connection, name) for name in ("page_size", "page_count", "freelist_count"))
    if added and (pages - free) * size > octets:
        oldest = "SELECT id FROM heard ORDER BY id LIMIT ?"
        connection.execute(f"DELETE FROM heard WHERE id IN ({oldest})", (2 * added,))  # noqa: S608 - no value is in the text


def let_log_grow(connection: sqlite3.Connection, octets: int) -> None:
    """Have this connection work the log into the file once it is so long, and not before."""
    connection.execute(f"PRAGMA wal_autocheckpoint = {octets // _number(connection, 'page_size')}").fetchall()


def oldest_ms(connection: sqlite3.Connection) -> int | None:
    """The earliest time at which a frame was heard, in Unix milliseconds; None where there is none."""
    earliest_ms = connection.execute("SELECT min(time_ms) FROM heard").fetchone()[0]
    return earliest_ms if isinstance(earliest_ms, int) else None


def delete_heard(connection: sqlite3.Connection, before_ms: int) -> bool:
    """Delete some of the frames that were heard before then, in Unix milliseconds; returns whether more may be left."""
    old = "SELECT id FROM heard WHERE time_ms < ? ORDER BY time_ms LIMIT ?"
    deleted = connection.execute(f"DELETE FROM heard WHERE id IN ({old})", (before_ms, STEP_ROWS))  # noqa: S608 - no value is in the text
    return deleted.rowcount == STEP_ROWS


def forget_past(connection: sqlite3.Connection, before_ms: int, this_run: int) -> None:
    """Forget the policies that were out of force before then, and the runs of which nothing is left."""
    connection.execute(
        "DELETE FROM policies WHERE id < (SELECT max(id) FROM policies WHERE since_ms <= ?)", (before_ms,)
    )
    connection.execute(
        "DELETE FROM runs WHERE started_ms < ? AND id < coalesce((SELECT min(id) FROM heard) >> ?, ?)"
        " AND id NOT IN (SELECT run FROM remembered)",
        (before_ms, SEQUENCE_BITS, this_run),
    )
    connection.execute("DELETE FROM beginnings WHERE run NOT IN (SELECT id FROM runs)")


def give_back(connection: sqlite3.Connection) -> bool:
    """Give some free pages back to the file system where there are many; returns whether there still are."""
    free = _number(connection, "freelist_count")
    if free <= max(FREE_PAGES_KEPT, _number(connection, "page_count") // 4):
        return False
    connection.execute(f"PRAGMA incremental_vacuum({STEP_PAGES})").fetchall()
    return True


def _encode_texts(texts: Iterable[tuple[str, str]]) -> str:
    return json.dumps([{"file": file, "text": text} for file, text in texts], ensure_ascii=False)


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    number: int = connection.execute(f"PRAGMA {pragma}").fetchone()[0]
    return number
