"""The journal: everything heard, in an SQLite file, with the policies in force and what the judge must know again."""

from collections.abc import Sequence

import structlog

from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.journal.batch import PolicyTexts
from gateway.journal.options import JournalOptions
from gateway.journal.recorder import Recorder
from gateway.journal.store import RunRecord, Store
from gateway.journal.trouble import JournalError, JournalRefusedError

_log = structlog.get_logger()


class Journal(Recorder):
    """The journal of one run. See `Recorder` for how it is run and drained."""

    def __init__(self, options: JournalOptions, run: Run, *, callsign: str, policy: str) -> None:
        """`policy`: the label of the policy that the run starts with. Opens nothing yet."""
        now = run.now()
        record = RunRecord(run.identity, now.time_ms - now.elapsed_ms, callsign, policy)
        self._store = Store(options, record)
        super().__init__("journal", self._store, run.now, limits=options.limits, pace=options.pace)

    def load_budgets(self) -> PlainObject | None:
        """What the last run knew of its budgets, for `Judge.restore_budgets`; None where nothing is known.

        Call it before `run`: it waits for the disk. Raises `JournalRefusedError` where the file is none of ours or a
        newer one; any other trouble is logged, and the gateway starts without.
        """
        try:
            return self._store.load_budgets()
        except JournalRefusedError:
            raise
        except JournalError as error:
            _log.warning("budgets start anew", why=error.trouble.why, do=error.trouble.do)
            return None
        finally:
            self._store.close()  # the connection belongs to the thread that opened it

    def offer_budgets(self, budgets: PlainObject) -> None:
        """What is used of the budgets now: what `Judge.budgets` gives out, at least every minute and at the stop."""
        self._waiting.offer_budgets(budgets, self._now().time_ms)
        self._work.set()

    def offer_policy(self, label: str, texts: Sequence[tuple[str, str]]) -> None:
        """A policy came into force: its label, and name and text of each of its files, its own first."""
        self._waiting.offer_policy(PolicyTexts(label, self._now().time_ms, tuple(texts)))
        self._work.set()
