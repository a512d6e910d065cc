"""The journal: everything heard, in an SQLite file, with the policies in force and what must be known again."""

from collections.abc import Sequence

import structlog

from gateway.feed.heard_object import HeardPayload, Reader
from gateway.frames.heard import Run
from gateway.frames.plain import PlainObject
from gateway.groundwork.clocks import is_synchronised
from gateway.groundwork.part import PartKind
from gateway.groundwork.remembered import Remembered
from gateway.journal.batch import PolicyTexts
from gateway.journal.keeper import Keeper
from gateway.journal.options import JournalOptions
from gateway.journal.recollection import Recollection, Wanted
from gateway.journal.recorder import Recorder
from gateway.journal.runs import RunRecord, RunStart
from gateway.journal.store import Store
from gateway.journal.trouble import JournalError, JournalRefusedError
from gateway.reports.distance import Origin

_log = structlog.get_logger()


class Journal(Recorder):
    """The journal of one run. See `Recorder` for how it is run and drained."""

    def __init__(
        self, options: JournalOptions, run: Run, *, callsign: str, policy: str, origin: Origin | None = None
    ) -> None:
        """`policy`: the label of the one that it starts with; `origin`: where the antenna is. Opens nothing yet."""
        now = run.now()
        self._run = run
        self._began_ms = now.time_ms - now.elapsed_ms
        record = RunRecord(run.identity, self._began_ms, callsign, policy, run.boot, run.boot_ms)
        self._store = Store(options, record, origin)
        self._keeper = Keeper(run, ())
        self._files = 0
        super().__init__(PartKind.JOURNAL, self._store, run.now, limits=options.limits, pace=options.pace)

    async def recollect(
        self, memories: Sequence[Remembered[HeardPayload]], read: Reader, *, recent: int = 0
    ) -> list[HeardPayload]:
        """Give `memories` what they knew before the restart, and keep them from now on. `read` reads reports.

        Gives back the frames that were heard last: `recent` of them where there are so many, perhaps more.

        Call it before anything is heard: it waits for the disk, and while it does the memories must be left alone.
        Raises `JournalRefusedError` where the file is none of ours or a newer one; any other trouble is logged, and the
        gateway starts without.
        """
        self._keeper = Keeper(self._run, memories)
        self._worker.start()
        now = RunStart(self._began_ms, self._run.boot, self._run.boot_ms, is_synchronised())
        wanted = Wanted([memory.name for memory in memories], now, read, recent)
        try:
            recollection = await self._ask(self._store.recollect, wanted)
        except JournalRefusedError:
            raise
        except JournalError as error:
            _log.warning("nothing is known of the time before", why=error.trouble.why, do=error.trouble.do)
            return []
        self._files = self._store.new_files
        for memory in memories:
            if _recall(memory, recollection):
                self._keeper.is_kept(memory)
        return [payload for _, payload in recollection.frames]

    def offer_policy(self, label: str, texts: Sequence[tuple[str, str]]) -> None:
        """A policy came into force: its label, and name and text of each of its files, its own first."""
        self._waiting.offer_policy(PolicyTexts(label, self._now().time_ms, tuple(texts)))
        self.settle_soon()

    def offer_alert(self, alert: PlainObject) -> None:  # noqa: ARG002 - what every sink is offered
        """An alert was raised, which its watch remembers: that is kept at once."""
        self.settle_soon()

    async def _before_working_in(self, *, leaving: bool) -> None:
        if self._files != self._store.new_files:
            self._files = self._store.new_files
            self._keeper.begin_anew()
        for dump in await self._keeper.dumps(leaving=leaving):
            self._waiting.offer_dump(dump)


def _recall(memory: Remembered[HeardPayload], recollection: Recollection) -> bool:
    """Give back to `memory` what is kept of it, and what was heard since; returns whether nothing was."""
    dumped = recollection.dumped_by_name.get(memory.name)
    until = 0
    if dumped is not None and dumped.version == memory.version:
        until = dumped.until
        for piece, past in dumped.pieces:
            memory.restore(piece, past)
    since = [payload for number, payload in recollection.frames if number > until]
    for payload in since:
        memory.recall(payload)
    return dumped is not None and dumped.version == memory.version and not since
