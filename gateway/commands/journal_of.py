"""The journal of a station file, asked from a terminal: whether the gateway runs or not, and without disturbing it."""

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from gateway import settings
from gateway.club.subjects import is_member_name
from gateway.commands.usage import AskedWronglyError
from gateway.documents import DocumentError, Problem
from gateway.frames.header import is_network_callsign
from gateway.groundwork.printable import printable
from gateway.history.period import Period, read_period
from gateway.history.station_past import PastFrame
from gateway.journal.asking import Inquiry
from gateway.journal.pending import read_pending
from gateway.journal.store import pending_path
from gateway.journal.trouble import JournalError


def journal_path(station: settings.StationText) -> Path:
    """Where its journal lies. Raises `DocumentError` where it names none."""
    journal = station.settings.journal
    if journal is None:
        what = "there is no journal to ask: write `journal: {path: stile.db}`"
        raise DocumentError([station.document.problem((), what)])
    return station.folder / journal.path


@contextmanager
def inquiry_of(station: Path) -> Iterator[Inquiry]:
    """The journal, opened to be read. Raises `DocumentError`."""
    text = settings.load_text(station)
    path = journal_path(text)
    try:
        with Inquiry(path) as inquiry:
            yield inquiry
    except JournalError as error:
        raise DocumentError([Problem(str(path), 1, "", str(error))]) from None


def not_worked_in(station: Path, post: str = "") -> list[PastFrame]:
    """What was heard in the last minutes and stands beside the journal, the newest first; by one `post`, or by all."""
    try:
        runs = read_pending(pending_path(journal_path(settings.load_text(station))))
    except OSError:
        return []
    rows = [(run.record.identity, row) for run in runs for row in run.rows if not post or row.post == post]
    return [PastFrame(run, row.sequence, row.encoded) for run, row in reversed(rows)]


def callsign_of(written: str) -> str:
    """A callsign from the command line. Raises `AskedWronglyError`."""
    callsign = written.upper()
    if not is_network_callsign(callsign):
        raise AskedWronglyError(f"{printable(callsign, 20)} is no callsign; write it as QA1BCD-9")
    return callsign


def post_of(written: str | None, station: Path) -> str:
    """The post of a club from the command line, empty where none is named.

    Raises `AskedWronglyError`, and `DocumentError` where the station file cannot be read.
    """
    if written is None:
        return ""
    club = settings.load_text(station).settings.club
    if club is None or club.role != "hub":
        raise AskedWronglyError("--post: only a hub of a club hears by posts, and this station is none")
    if not is_member_name(written):
        raise AskedWronglyError(
            f"--post: {printable(written, 20)} is no post's name; `stile watch` shows those of the club"
        )
    return written


def period_until_now(name: str, written: str, until_ms: int | None = None) -> Period:
    """The period that an option names. Raises `AskedWronglyError`."""
    try:
        return read_period(written, time.time_ns() // 1_000_000 if until_ms is None else until_ms)
    except ValueError as error:
        raise AskedWronglyError(f"{name} {written}: {error}") from None
