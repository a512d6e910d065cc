"""The journal's file: an SQLite database in WAL mode, written by one thread, readable by anyone meanwhile.

WAL with `synchronous=NORMAL` keeps the file whole through a crash or a loss of power; only the last moments before it
may be missing (SQLite, "Write-Ahead Logging", section 3.2).
"""

import contextlib
import json
import sqlite3
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import structlog

from gateway.feed.heard_object import encode
from gateway.frames.plain import PlainObject
from gateway.journal import schema
from gateway.journal.batch import Batch, PolicyTexts
from gateway.journal.options import JournalOptions
from gateway.journal.trouble import JournalDamagedError, Trouble, explain_database, explain_system

BUSY_SECONDS = 2.0
"""How long a write waits for another program that writes."""

ROWS_OF_A_STATEMENT = 32
"""One statement for many rows: the interpreter's lock is let go and taken back once, not once a row."""

STEP_ROWS = 200
"""How many frames are deleted at one go: a step takes milliseconds, on a memory card too."""

STEP_PAGES = 200
"""How many free pages are given back to the file system at one go."""

_SETTINGS = (
    "PRAGMA page_size = 4096",  # the first two count for a new file only
    "PRAGMA auto_vacuum = INCREMENTAL",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = NORMAL",  # one sync for each checkpoint, none for each transaction
    "PRAGMA wal_autocheckpoint = 1000",  # pages: the log is worked into the file at about 4 MB
    "PRAGMA journal_size_limit = 4194304",
    "PRAGMA secure_delete = FAST",  # zeros where that costs no write of its own; some builds write all of it twice
    "PRAGMA cache_size = -2048",  # kB
    "PRAGMA temp_store = MEMORY",
)

_FREE_PAGES_KEPT = 4096
"""Free pages serve what comes next; only what is free beyond this, and beyond a quarter of all, is given back."""

_COLUMNS = "(id, time_ms, source, reason, sent_ms, object)"
_PLACES = "(?, ?, ?, ?, ?, ?)"

_MAGIC = b"SQLite format 3\0"
_MARK_AT = 68
"""Where the application id stands in the file (SQLite's database file format, section 1.3)."""

_OWN_FAULTS = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError, sqlite3.DataError)

_log = structlog.get_logger()


@dataclass(frozen=True, slots=True)
class RunRecord:
    """One start of the gateway."""

    identity: str
    started_ms: int
    """Unix milliseconds."""

    callsign: str
    policy: str
    """The label of the policy that it started with."""


class Store:
    """Writes one journal, in the name of one run. Each method opens the file where it is not open, or not any more.

    Every method raises `JournalError`; the next call then tries anew. All but `notice` belong to one thread.
    """

    def __init__(self, options: JournalOptions, run: RunRecord) -> None:
        self.notice: Trouble | None = None
        """What the operator should know though the journal works."""

        self._options = options
        self._path = options.path
        self._run_record = run
        self._connection: sqlite3.Connection | None = None
        self._run = 0
        self._policy: PolicyTexts | None = None
        self._is_damaged = False
        self._place: tuple[int, int] | None = None
        self._budgets_written = b""

    def write(self, batch: Batch) -> None:
        """Write `batch`, wholly or not at all. What was written before is not written twice."""
        with self._using() as connection:
            connection.execute("BEGIN IMMEDIATE")
            self._insert(connection, batch)
            for policy in batch.policies:
                _insert_policy(connection, policy)
                self._policy = policy
            if batch.budgets is not None:
                self._save_budgets(connection, batch.budgets, batch.saved_ms)
            self._keep_within_octets(connection, len(batch.rows))
            connection.execute("COMMIT")

    def tidy(self, time_ms: int) -> bool:
        """Delete some of what is too old, now being a Unix time in milliseconds; returns whether more is left."""
        if self._connection is None:
            return False
        if self._place != _place_of(self._path):  # moved away or deleted: what is written there would be lost
            self.close()
            return False
        before_ms = time_ms - self._options.keep_ms
        with self._using() as connection:
            old = "SELECT id FROM heard WHERE time_ms < ? ORDER BY time_ms LIMIT ?"
            deleted = connection.execute(f"DELETE FROM heard WHERE id IN ({old})", (before_ms, STEP_ROWS))  # noqa: S608 - no value is in the text
            if deleted.rowcount == STEP_ROWS:
                return True
            _forget_past(connection, before_ms, self._run)
            return _give_back(connection)

    def load_budgets(self) -> PlainObject | None:
        """The budgets that were written last, by whatever run."""
        with self._using() as connection:
            found = connection.execute("SELECT budgets FROM judge_state").fetchone()
        if found is None:
            return None
        try:
            budgets = json.loads(found[0])
        except ValueError:
            return None
        return budgets if isinstance(budgets, dict) else None

    def close(self) -> None:
        """Work the log into the file and close it."""
        connection, self._connection = self._connection, None
        if connection is not None:
            with contextlib.suppress(sqlite3.Error):  # then the log stays beside the file, and is read the next time
                connection.close()

    @contextlib.contextmanager
    def _using(self) -> Iterator[sqlite3.Connection]:
        """The open file. On any error nothing of the transaction stays, and the next call opens the file anew."""
        try:
            yield self._connection or self._open()
        except BaseException as error:
            self.close()
            if not isinstance(error, sqlite3.Error) or isinstance(error, _OWN_FAULTS):
                raise
            explained = explain_database(error, self._path)
            self._is_damaged |= isinstance(explained, JournalDamagedError)
            raise explained from None

    def _open(self) -> sqlite3.Connection:
        """Open the file; where it is damaged, set it aside and begin a new one."""
        if not self._is_damaged:
            try:
                return self._connect()
            except sqlite3.DatabaseError as error:
                if not isinstance(explain_database(error, self._path), JournalDamagedError):
                    raise
        if not self._set_aside():
            self._is_damaged = False  # it may be another file by the next time
            raise JournalDamagedError(
                f"the journal {self._path} is damaged", "move it away, and what was set aside: a new one is then begun"
            )
        self._is_damaged = False
        return self._connect()

    def _connect(self) -> sqlite3.Connection:
        connection = sqlite3.connect(self._path, timeout=BUSY_SECONDS, isolation_level=None)
        try:
            schema.require_ours(connection, self._path)  # before any setting could change what is not
            was = schema.version(connection)
            for setting in _SETTINGS:
                connection.execute(setting).fetchall()
            schema.migrate(connection, self._path)
            if was != schema.version(connection):
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()  # the mark of a new file is in it now
            self._run = _run_number(connection, self._run_record)
            if self._policy is not None:
                _insert_policy(connection, self._policy)  # the file may be a new one
        except BaseException:
            connection.close()
            raise
        self._connection = connection
        self._place = _place_of(self._path)
        self._budgets_written = b""
        return connection

    def _set_aside(self) -> bool:
        """Rename a damaged journal, once, and only what is surely one; returns whether that was done."""
        aside = self._path.with_name(f"{self._path.name}.damaged")
        try:
            if aside.exists() or not _is_journal(self._path):
                return False
            # The log first: a new file must never meet the log of the old one.
            for ending in ("-wal", "-shm", ""):
                with contextlib.suppress(FileNotFoundError):
                    self._path.with_name(self._path.name + ending).rename(aside.with_name(aside.name + ending))
        except OSError as error:
            raise explain_system(error, self._path) from None
        do = f"see whether the disk is failing; {aside} can be deleted"
        self.notice = Trouble(f"the journal was damaged: it is now {aside}, and a new one was begun", do)
        _log.error("journal damaged, a new one is begun", path=str(self._path), old=str(aside))
        return True

    def _insert(self, connection: sqlite3.Connection, batch: Batch) -> None:
        first = self._run << schema.SEQUENCE_BITS
        sent = batch.sent
        for start in range(0, len(batch.rows), ROWS_OF_A_STATEMENT):
            rows = batch.rows[start : start + ROWS_OF_A_STATEMENT]
            values: list[object] = []
            for row in rows:
                encoded = row.encoded.decode("utf-8")
                values += (
                    first | row.sequence, row.time_ms, row.source, row.reason, sent.get(row.sequence), encoded,
                )  # fmt: skip
            # On conflict: where a commit was said to have failed and had not, the same rows come again.
            places = ", ".join([_PLACES] * len(rows))
            connection.execute(f"INSERT INTO heard {_COLUMNS} VALUES {places} ON CONFLICT (id) DO NOTHING", values)  # noqa: S608 - no value is in the text
        here = {row.sequence for row in batch.rows}
        earlier = [(at_ms, first | sequence) for sequence, at_ms in sent.items() if sequence not in here]
        if earlier:
            connection.executemany("UPDATE heard SET sent_ms = ? WHERE id = ?", earlier)

    def _save_budgets(self, connection: sqlite3.Connection, budgets: PlainObject, saved_ms: int) -> None:
        encoded = encode(budgets)
        if encoded != self._budgets_written:
            connection.execute("INSERT OR REPLACE INTO judge_state VALUES (1, ?, ?)", (saved_ms, encoded.decode()))
            self._budgets_written = encoded

    def _keep_within_octets(self, connection: sqlite3.Connection, added: int) -> None:
        size, pages, free = (_number(connection, name) for name in ("page_size", "page_count", "freelist_count"))
        if added and (pages - free) * size > self._options.octets:
            oldest = "SELECT id FROM heard ORDER BY id LIMIT ?"
            connection.execute(f"DELETE FROM heard WHERE id IN ({oldest})", (2 * added,))  # noqa: S608 - no value is in the text


def _run_number(connection: sqlite3.Connection, run: RunRecord) -> int:
    values = (run.identity, run.started_ms, run.callsign, run.policy)
    connection.execute(
        "INSERT OR IGNORE INTO runs (identity, started_ms, callsign, policy) VALUES (?, ?, ?, ?)", values
    )
    found: int = connection.execute("SELECT id FROM runs WHERE identity = ?", (run.identity,)).fetchone()[0]
    return found


def _insert_policy(connection: sqlite3.Connection, policy: PolicyTexts) -> None:
    texts = _encode_texts(policy.texts)
    last = connection.execute("SELECT label, texts FROM policies ORDER BY id DESC LIMIT 1").fetchone()
    if last != (policy.label, texts):
        values = (policy.since_ms, policy.label, texts)
        connection.execute("INSERT INTO policies (since_ms, label, texts) VALUES (?, ?, ?)", values)


def _encode_texts(texts: Iterable[tuple[str, str]]) -> str:
    return json.dumps([{"file": file, "text": text} for file, text in texts], ensure_ascii=False)


def _forget_past(connection: sqlite3.Connection, before_ms: int, this_run: int) -> None:
    """Forget the policies that were out of force before then, and the runs of which nothing is left."""
    connection.execute(
        "DELETE FROM policies WHERE id < (SELECT max(id) FROM policies WHERE since_ms <= ?)", (before_ms,)
    )
    connection.execute(
        "DELETE FROM runs WHERE started_ms < ? AND id < coalesce((SELECT min(id) FROM heard) >> ?, ?)",
        (before_ms, schema.SEQUENCE_BITS, this_run),
    )


def _give_back(connection: sqlite3.Connection) -> bool:
    """Give some free pages back to the file system where there are many; returns whether there still are."""
    free = _number(connection, "freelist_count")
    if free <= max(_FREE_PAGES_KEPT, _number(connection, "page_count") // 4):
        return False
    connection.execute(f"PRAGMA incremental_vacuum({STEP_PAGES})").fetchall()
    return True


def _number(connection: sqlite3.Connection, pragma: str) -> int:
    found: int = connection.execute(f"PRAGMA {pragma}").fetchone()[0]
    return found


def _place_of(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_dev, status.st_ino


def _is_journal(path: Path) -> bool:
    """Whether the file begins as a journal of ours does, whatever became of the rest."""
    with path.open("rb") as file:
        start = file.read(_MARK_AT + 4)
    return start.startswith(_MAGIC) and int.from_bytes(start[_MARK_AT:], "big") == schema.APPLICATION_ID
