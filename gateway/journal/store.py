"""The journal's file: an SQLite database in WAL mode, written by one thread, readable by anyone meanwhile.

A memory card wears out by the number of writes, so frames are not settled in the database one by one. What comes is
held, and appended to a small file beside the journal (see `pending`). Every minute that file is synced; every few
minutes all that is held goes into the database, in one transaction. WAL with `synchronous=FULL` syncs each of them:
what is in it outlasts a loss of power (SQLite, "Write-Ahead Logging", section 2.3, and PRAGMA synchronous).
"""

import contextlib
import os
import sqlite3
from collections.abc import Iterator
from pathlib import Path

import structlog

from gateway.frames.heard import Moment, Place
from gateway.groundwork.duration import in_words
from gateway.groundwork.part import Trouble
from gateway.groundwork.private_files import make_private_folder, open_private, why_not_private
from gateway.history.distances import Measured, measured
from gateway.journal import rows, schema, sums
from gateway.journal.ageing import Ageing
from gateway.journal.batch import Batch, PolicyTexts
from gateway.journal.options import JournalOptions
from gateway.journal.pending import PendingFile, read_pending
from gateway.journal.recollection import Recollection, Wanted, recollect
from gateway.journal.runs import RunRecord
from gateway.journal.standing import Standing, place_of
from gateway.journal.trouble import JournalDamagedError, JournalError, explain_database, explain_system, explained
from gateway.judge.conditions import origin_at
from gateway.reports.distance import Origin

MAXIMUM_HELD = 500
"""Frames that are settled beside the database at most: with the longest objects that is a megabyte of memory."""

BUSY_SECONDS = 2.0
"""How long a write waits for another program that writes."""

PAGE_OCTETS = 2048
"""Of a new file. A page that changes goes to the disk whole, so that a larger one costs more; three heard objects have
room in it, as six have in one of 4 kB."""

LOG_OCTETS = 16 * 1024 * 1024
"""How long the log may become before it is worked into the file: half a day at twelve frames a minute. What changes
again and again until then is written to the file once."""

_SETTINGS = (
    f"PRAGMA page_size = {PAGE_OCTETS}",  # the first two count for a new file only
    "PRAGMA auto_vacuum = INCREMENTAL",
    "PRAGMA journal_mode = WAL",
    "PRAGMA synchronous = FULL",  # a transaction outlasts a loss of power
    f"PRAGMA journal_size_limit = {LOG_OCTETS}",
    "PRAGMA secure_delete = FAST",  # zeros where that costs no write of its own; some builds write all of it twice
    "PRAGMA cache_size = -1024",  # kB
    "PRAGMA temp_store = MEMORY",
)

_MAGIC = b"SQLite format 3\0"
_MARK_AT = 68
"""Where the application id stands in the file (SQLite's database file format, section 1.3)."""

_OWN_FAULTS = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError, sqlite3.DataError)

_log = structlog.get_logger()


class Store:
    """Writes one journal, in the name of one run. Each method opens the file where it is not open, or not any more.

    Every method raises `JournalError`; the next call then tries anew. All but `notice` belong to one thread.
    """

    def __init__(self, options: JournalOptions, run: RunRecord, origin: Origin | None = None) -> None:
        """`origin`: where the antenna is; None where that is not known."""
        self.notice: Trouble | None = None
        """What the operator should know though the journal works."""

        self.new_files = 0
        """How many files it has begun: into each, all that is remembered must be dumped anew."""

        self._options = options
        self._origin = origin
        self._path = options.path
        self._run_record = run
        self._ageing = Ageing(options.keep_ms)
        self._pending = PendingFile(pending_path(options.path), run)
        self._held = Batch()
        """What is written but not settled yet."""

        self._taken: Batch | None = None
        self._said_not_beside = False
        self._left_behind = True
        self._connection: sqlite3.Connection | None = None
        self._run = 0
        self._policy: PolicyTexts | None = None
        self._is_damaged = False
        self._said_open = False
        self._standing: Standing | None = None
        self._overwritten_place: tuple[int, int] | None = None

    def write(self, batch: Batch) -> None:
        """Hold `batch`, where a killed process leaves it behind; settle it and all that is held if it says so.

        Where it may wait it is settled beside the journal, if it can be: else it then says that it did not wait.

        On an error other than `JournalError` all that was held is given up.
        """
        if batch is not self._taken:
            self._taken = batch
            self._held.add(batch)
            try:
                self._pending.append(batch)
            except OSError as error:
                self._say_once_not_beside(error)
                batch.settles, batch.may_wait = True, False
            else:
                self._said_not_beside = False
        self._refuse_overwritten()
        if batch.settles:
            batch.may_wait = batch.may_wait and self._settle_beside()
            if not batch.may_wait:
                self._settle_or_let_go()
        self._taken = None

    def _say_once_not_beside(self, error: OSError) -> None:
        if not self._said_not_beside:
            self._said_not_beside = True
            why = explain_system(error, self._pending.path).trouble.why
            _log.warning("what is heard cannot be kept beside the journal: it is settled at once", why=why)

    def _settle_beside(self) -> bool:
        """See all that is held on the disk beside the journal; returns whether it is."""
        if not self._held.is_air_only or len(self._held.rows) >= MAXIMUM_HELD:
            return False
        return self._pending.settle()

    def _settle_or_let_go(self) -> None:
        try:
            self._settle()
        except JournalError:
            raise
        except Exception:
            self._let_go()
            raise

    def _settle(self) -> None:
        """Write all that is held to the journal, wholly or not at all. What was written before is not written twice."""
        self._leave_if_moved()
        self._leave_if_overwritten()
        held = self._held
        with self._using() as connection:
            connection.execute("BEGIN IMMEDIATE")
            rows.insert_heard(connection, self._run, held.rows, held.sent, self._measure)
            for policy in held.policies:
                rows.insert_policy(connection, policy)
                self._policy = policy
            for dump in held.dumps.values():
                rows.insert_dump(connection, self._run, dump)
            if held.beginning is not None:
                rows.insert_beginning(connection, self._run, held.beginning)
            rows.keep_within(connection, self._options.octets, added=len(held.rows))
            connection.execute("COMMIT")
        self._let_go()

    def _measure(self, place: Place, heard_at: Place | None) -> Measured | None:
        origin = self._origin if heard_at is None else origin_at(heard_at)
        return None if origin is None else measured(origin, place)

    def _let_go(self) -> None:
        self._held = Batch()
        self._pending.clear()

    def recollect(self, wanted: Wanted) -> Recollection:
        """What is known of the time before this run."""
        with self._using() as connection:
            return recollect(connection, wanted, self._run)

    def look(self) -> bool:
        """See whether the journal and the file beside it are in their place; where not, begin new ones."""
        is_moved = not self._pending.is_in_place()
        if is_moved:
            self._pending.close()
        if self._leave_if_moved():
            is_moved = True
            with self._using():
                pass
        was_overwritten = self._overwritten_place is not None
        self._leave_if_overwritten()
        return is_moved or was_overwritten  # it is no longer: it was moved away

    def tidy(self, moment: Moment) -> bool:
        """Delete some of what is too old; returns whether more is left."""
        jump_ms = self._ageing.jump_ms(moment)
        if jump_ms:
            by = f"{in_words(jump_ms)} {'ahead' if jump_ms > 0 else 'back'}"
            _log.warning("the clock was set: nothing is deleted for its age before it was steady for an hour", by=by)
        if self._connection is None:
            return False
        with self._using() as connection:
            sums.note_running(connection, moment.time_ms)
            oldest_ms = rows.oldest_ms(connection)
            before_ms = None if oldest_ms is None else self._ageing.before_ms(moment, oldest_ms)
            if before_ms is not None:
                if rows.delete_heard(connection, before_ms):
                    return True
                rows.forget_past(connection, before_ms, self._run)
                sums.forget_old(connection, moment.time_ms)
            return rows.give_back(connection)

    def close(self) -> None:
        """Work the log into the file and close it."""
        self._pending.close()
        self._disconnect()

    def _disconnect(self) -> None:
        connection, self._connection, self._standing = self._connection, None, None
        if connection is not None:
            with contextlib.suppress(sqlite3.Error):  # then the log stays beside the file, and is read the next time
                connection.close()

    def _leave_if_moved(self) -> bool:
        """Leave a journal of which a file no longer stands under its name: what were written there would be lost."""
        if self._connection is None or self._standing is None or self._standing.is_in_place():
            return False
        # What was moved takes along what stands in its log only. Where it cannot, that is said as a new one is begun.
        is_worked_in = self._work_log_in()
        if self._standing.place != place_of(self._path):
            _log.warning("the journal was moved or deleted: a new one is begun", path=str(self._path))
        elif is_worked_in:
            _log.warning("the journal's log was moved or deleted: a new one is begun", path=str(self._path))
        else:
            return False  # as long as it is open nothing of it is lost: whoever reads is waited for
        self._disconnect()
        with explained(self._path):
            make_private_folder(self._path.parent)
        return True

    def _work_log_in(self) -> bool:
        """Work the log into the file; returns whether all of it is, and nobody reads by it any more."""
        if self._connection is None:
            return False
        with contextlib.suppress(sqlite3.Error):
            was_kept_from_it: int = self._connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            return not was_kept_from_it
        return False

    def _leave_if_overwritten(self) -> None:
        """Leave a journal that another program wrote over. Raises `JournalDamagedError` where one did."""
        if self._standing is not None and self._standing.is_overwritten():
            self._overwritten_place = self._standing.place
            _log.error("another program has written over the journal", path=str(self._path))
            self._disconnect()
        self._refuse_overwritten()

    def _refuse_overwritten(self) -> None:
        """Leave what was written over as it is until it is moved away. Raises `JournalDamagedError`."""
        if self._overwritten_place is not None and self._overwritten_place == place_of(self._path):
            why = f"another program has written over the journal {self._path}"
            raise JournalDamagedError(why, "end that program, then move the file away: a new journal is begun")
        self._overwritten_place = None

    @contextlib.contextmanager
    def _using(self) -> Iterator[sqlite3.Connection]:
        """The open file. On any error nothing of the transaction stays, and the next call opens the file anew."""
        try:
            yield self._connection or self._open()
        except BaseException as error:
            self._disconnect()
            if not isinstance(error, sqlite3.Error | UnicodeDecodeError) or isinstance(error, _OWN_FAULTS):
                raise
            explained = explain_database(error, self._path)
            self._is_damaged |= isinstance(explained, JournalDamagedError)
            raise explained from None

    def _open(self) -> sqlite3.Connection:
        """Open the file; where it is damaged, set it aside and begin a new one."""
        if not self._is_damaged:
            try:
                return self._connect()
            except (sqlite3.DatabaseError, UnicodeDecodeError) as error:
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
        self._make_file()
        connection = sqlite3.connect(self._path, timeout=BUSY_SECONDS, isolation_level=None)
        connection.text_factory = lambda octets: octets.decode("utf-8", "replace")  # whatever a spoiled file holds
        try:
            schema.require_ours(connection, self._path)  # before any setting could change what is not
            was = schema.version(connection)
            for setting in _SETTINGS:
                connection.execute(setting).fetchall()
            rows.let_log_grow(connection, LOG_OCTETS)
            schema.migrate(connection, self._path)
            if was != schema.version(connection):
                connection.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchall()  # the mark of a new file is in it now
                self.new_files += 1
            self._settle_left_behind(connection)
            self._run = rows.run_number(connection, self._run_record)
            if self._policy is not None:
                rows.insert_policy(connection, self._policy)  # the file may be a new one
            standing = Standing(self._path)
        except BaseException:
            connection.close()
            raise
        self._connection, self._standing = connection, standing
        return connection

    def _make_file(self) -> None:
        """Make the file before SQLite does, so that nobody else can read it; its log gets the rights that it has.

        One that is there is left alone: whoever reads it in this process would lose the lock (see `standing`).
        """
        self._say_what_stays_behind()
        with contextlib.suppress(OSError):  # SQLite says better what is wrong
            if not self._path.exists():
                os.close(open_private(self._path, os.O_RDWR))
        open_to_others = why_not_private(self._path)
        if open_to_others and not self._said_open:
            _log.warning("the journal is not private", path=str(self._path), why=open_to_others)
            self._said_open = True

    def _say_what_stays_behind(self) -> None:
        """Where the file alone was moved away, its log stays, and goes as soon as SQLite begins a new file."""
        log = self._path.with_name(f"{self._path.name}-wal")
        with contextlib.suppress(OSError):
            if log.stat().st_size and not self._path.exists():
                why = "a journal was moved or deleted without its log: its last frames are lost"
                do = "what was moved may be damaged; move a journal only while the gateway is stopped"
                self.notice = Trouble(why, do)
                _log.error(why, path=str(self._path))

    def _settle_left_behind(self, connection: sqlite3.Connection) -> None:
        """Write what a run before this one had not settled when it was killed."""
        if not self._left_behind:
            return
        try:
            runs = read_pending(self._pending.path)
        except OSError as error:
            why = explain_system(error, self._path).trouble.why
            _log.warning("what a killed gateway left behind cannot be read", why=why)
            return
        runs = [run for run in runs if run.record.identity != self._run_record.identity]  # what is ours is held, too
        connection.execute("BEGIN IMMEDIATE")
        for run in runs:
            rows.insert_heard(connection, rows.run_number(connection, run.record), run.rows, run.sent, self._measure)
        connection.execute("COMMIT")
        self._left_behind = False
        frames = sum(len(run.rows) for run in runs)
        if frames:
            _log.info("frames that a killed gateway left behind are kept", count=frames)
        if not (self._held.rows or self._held.sent):
            self._pending.clear()

    def _set_aside(self) -> bool:
        """Rename a damaged journal, once, and only what is surely one; returns whether that was done."""
        aside = self._path.with_name(f"{self._path.name}.damaged")
        with explained(self._path):
            if aside.exists() or not _is_journal(self._path):
                return False
            # The log first: a new file must never meet the log of the old one.
            for ending in ("-wal", "-shm", ""):
                with contextlib.suppress(FileNotFoundError):
                    self._path.with_name(self._path.name + ending).rename(aside.with_name(aside.name + ending))
        do = f"see whether the disk is failing; {aside} can be deleted"
        self.notice = Trouble(f"the journal was damaged: it is now {aside}, and a new one was begun", do)
        _log.error("journal damaged, a new one is begun", path=str(self._path), old=str(aside))
        return True


def pending_path(journal: Path) -> Path:
    """The file beside a journal."""
    return journal.with_name(f"{journal.name}-pending")


def _is_journal(path: Path) -> bool:
    """Whether the file begins as a journal of ours does, whatever became of the rest."""
    with path.open("rb") as file:
        start = file.read(_MARK_AT + 4)
    return start.startswith(_MAGIC) and int.from_bytes(start[_MARK_AT:], "big") == schema.APPLICATION_ID
