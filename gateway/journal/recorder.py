"""What everything kept on disk has in common: a bounded queue, batches, a thread of its own, patience with the disk.

What is offered is written within a second: a killed process then loses it no more. It is settled now and then, and at
once where it matters: then a loss of power takes it no more, either.
"""

import asyncio
import contextlib
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, ParamSpec, Protocol, TypeVar

import structlog

from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import RunningSink
from gateway.frames.heard import Moment
from gateway.groundwork.back_off import BackOff
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.part import Figure, Part, PartKind, State, Trouble, counter, failed, gauge, shed, waiting
from gateway.journal.batch import Batch, Dump, Waiting
from gateway.journal.options import DiskPace, Limits
from gateway.journal.trouble import JournalError
from gateway.journal.worker import Worker

ENCODE_SECONDS = 0.001
"""For so long frames are encoded at a stretch: no frame on its way up waits longer for the interpreter."""

TIDY_STEPS = 50
"""How many small steps one tidying takes at most: what is left over waits for the next."""

URGENT_SECONDS = 1.0
"""What is urgent is settled at once, but not more often than this: made-up emergencies must not wear out a card."""

_STOPPED = Trouble("the gateway stops", "start it again")

_P = ParamSpec("_P")
_T = TypeVar("_T")

_log = structlog.get_logger()


class Medium(Protocol):
    """Where batches go. All of it runs in the recorder's thread, one call at a time; all but `notice`."""

    @property
    def notice(self) -> Trouble | None:
        """What the operator should know though it works."""

    def write(self, batch: Batch) -> None:
        """Write `batch`, opening what must be opened, and settle it with all before it where it says so.

        Raises `JournalError`: then the same batch comes again. On any other error what was not settled is given up.
        """

    def look(self) -> bool:
        """See whether what is written still stands in its place; returns whether it had to be begun anew."""

    def tidy(self, moment: Moment) -> bool:
        """Take a small step to delete what is too old; returns whether more is left."""

    def close(self) -> None:
        """Close what is open. Never raises."""


@dataclass(frozen=True, slots=True)
class RecorderState:
    """How a recorder is, at one moment."""

    written: int
    """Frames that are on disk. Frames offered = written + waiting + failed + what was shed of them."""

    waiting: int
    """Frames that are not."""

    failed: int
    """Frames that could not be written for a fault of the gateway's own."""

    shed: dict[str, int]
    """What was dropped because the disk did not keep up, by what was offered."""

    unsettled: int
    """Frames among those written that a loss of power would take."""

    trouble: Trouble | None
    """Why nothing can be written now."""


class Recorder(RunningSink):
    """Takes what is to be kept, without ever waiting, and writes it in a thread of its own for as long as it runs.

    Offers are for the event loop's own thread; they never fail. It answers for itself: see `part.Answers`.
    """

    def __init__(
        self, kind: PartKind, medium: Medium, now: Callable[[], Moment], *, limits: Limits, pace: DiskPace
    ) -> None:
        self._kind = kind
        self._medium = medium
        self._now = now
        self._limits = limits
        self._pace = pace
        self._waiting = Waiting(limits.waiting)
        self._worker = Worker(kind)
        self._work = asyncio.Event()
        self._hurry = asyncio.Event()
        self._draining = asyncio.Event()
        self._ended = asyncio.Event()
        self._limit: asyncio.Timeout | None = None
        self._is_urgent = False
        self._settled_at = 0.0
        """When everything was settled last, in the event loop's time."""

        self._worked_in_at = 0.0
        self._in_hand = 0
        self._written = 0
        self._unsettled = 0
        self._beside = 0
        """Frames among those written that were not worked into their place yet."""

        self._failed = 0
        self._failure: str | None = None
        self._failed_said = 0
        self._shed_said = 0
        self._sheds = False
        self._has_proof = False
        """Whether anything could be written yet, if only to see that it can."""

        self._trouble: Trouble | None = None
        self._since_ms = now().time_ms
        self._asked_at_ms: list[int] = []
        self._log = _log.bind(part=kind.value)

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Take frames."""
        queue = self._waiting
        for payload in frames:
            queue.offer_heard(payload)
            if payload.judged.emergency and payload.judged.counts_as_emergency:
                self.settle_soon()
        self._work.set()
        if len(queue) >= self._limits.batch:
            self._hurry.set()
        if queue.shed_heard > self._shed_said and not self._sheds:
            self._say_shed()

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        """Take frames whose lines were sent."""
        for payload in frames:
            self._waiting.offer_sent(payload.judged.heard.sequence, sent_at_ms)
        self._work.set()

    def offer_beginning(self, pieces: Iterable[Mapping[str, Any]]) -> None:
        """What the judge remembers now that the run begins, in pieces: before anything is heard."""
        self._waiting.offer_beginning(Dump("judge", 1, 0, pieces=deque([*filter(None, pieces)] or [{}])))
        self.settle_soon()

    def settle_soon(self) -> None:
        """What was offered is urgent: a loss of power must not take it."""
        self._is_urgent = True
        self._work.set()
        self._hurry.set()

    def state(self) -> RecorderState:
        """How it is now."""
        dropped = {"heard": self._waiting.shed_heard, "forwarded": self._waiting.shed_sent}
        queued = len(self._waiting) + self._in_hand
        return RecorderState(self._written, queued, self._failed, dropped, self._unsettled, self._trouble)

    def part(self) -> Part:
        """How it is now, for the health of the post."""
        kind, since_ms = self._kind, self._since_ms
        down, trouble = self._trouble, self._medium.notice
        now = self._now()
        unanswered_ms = now.elapsed_ms - min(self._asked_at_ms, default=now.elapsed_ms)
        if unanswered_ms >= self._pace.stalled * 1000:
            down = Trouble("the disk does not answer", "see whether it is dying, or a network in between is down")
            since_ms = now.time_ms - unanswered_ms
        elif self._sheds and trouble is None:
            trouble = Trouble("more is heard than the disk takes: some of it is not kept", "see what keeps it busy")
        if down is not None:
            return Part(kind, kind, State.DOWN, since_ms, down.why, down.do)
        if trouble is not None:
            return Part(kind, kind, State.DEGRADED, since_ms, trouble.why, trouble.do)
        return Part(kind, kind, State.OK if self._has_proof else State.WAITING, since_ms)

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        state = self.state()
        return [
            *shed(state.shed),
            *failed({"heard": state.failed}),
            *waiting({"heard": state.waiting}),
            counter("written", state.written, "Frames that are on disk."),
            gauge("unsettled", state.unsettled, "Frames on disk that a loss of power would take."),
        ]

    async def run(self) -> None:
        """Write what is offered, until drained or cancelled. Whatever the disk does, it goes on."""
        self._worker.start()
        try:
            async with asyncio.timeout(None) as self._limit:
                async with kept_tasks() as tasks:
                    tasks.keep(self._tidy_for_ever(), "journal: tidy")
                    tasks.keep(self._look_for_ever(), "journal: look")
                    await self._write_until_drained()
                await self._ask(self._medium.close)
        except TimeoutError:
            if not self._draining.is_set():
                raise
        finally:
            self._limit = None
            self._worker.end(self._medium.close)
            self._waiting.shed_heard += self._in_hand  # a stuck disk may yet take them; nobody will know
            self._in_hand = 0
            self._waiting.shed_all()
            self._say_losses()
            self._become(_STOPPED)
            self._ended.set()

    async def drain(self, seconds: float) -> None:
        """Write and settle what waits and close, all within `seconds`; `run` then returns.

        What the disk does not take in that time, or at the one more try that it is given, is counted as shed.
        """
        if self._limit is None:
            return
        self._draining.set()
        self._work.set()
        self._hurry.set()
        self._limit.reschedule(asyncio.get_running_loop().time() + seconds)
        await self._ended.wait()

    async def tidy(self) -> None:
        """Delete what is too old, and say what was shed since the last time. `run` does it every minute."""
        try:
            for _ in range(TIDY_STEPS):
                if not await self._ask(self._medium.tidy, self._now()):
                    break
        except JournalError as error:
            self._become(error.trouble)
        except Exception as error:  # noqa: BLE001 - a journal that cannot be tidied is none the worse for now
            self._log.error("cannot delete what is too old", error=type(error).__name__)
        self._say_losses()

    async def look(self) -> None:
        """See whether what is written still stands in its place. `run` does it every few seconds."""
        try:
            if await self._ask(self._medium.look):
                self.settle_soon()
        except JournalError as error:
            self._become(error.trouble)

    async def _before_working_in(self, *, leaving: bool) -> None:
        """Offer what should go into its place along with the rest; `leaving` says that it is the last time."""

    async def _tidy_for_ever(self) -> None:
        while True:
            await asyncio.sleep(self._pace.tidy)
            await self.tidy()

    async def _look_for_ever(self) -> None:
        while True:
            await asyncio.sleep(self._pace.look)
            await self.look()

    async def _write_until_drained(self) -> None:
        await self._write(Batch(settles=True))  # a disk that cannot be written shows before anything is heard
        is_last = False
        while not is_last:
            await self._gather()
            leaving = self._draining.is_set()
            settles = leaving or self._must_settle()
            may_wait = not (leaving or self._is_urgent or self._must_work_in())
            if settles and not may_wait:
                await self._before_working_in(leaving=leaving)
            batch = self._waiting.take(self._limits.batch)
            batch.settles, batch.may_wait = settles, may_wait
            self._is_urgent = self._is_urgent and not (settles and self._waiting.is_empty)
            self._in_hand = len(batch)
            while await self._ask(batch.encode, ENCODE_SECONDS):
                pass
            if not await self._write(batch):
                return
            self._in_hand = 0
            is_last = leaving and self._waiting.is_empty

    async def _gather(self) -> None:
        """Wait for something to write, and then for a little more of it; no longer than until something is due."""
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout_at(self._settles_at()):
                await self._work.wait()
                async with asyncio.timeout(self._pace.gather):
                    await self._hurry.wait()
        if self._draining.is_set():
            return
        beyond_a_batch = len(self._waiting) - self._limits.batch
        if beyond_a_batch <= 0:
            self._work.clear()
        if beyond_a_batch < self._limits.batch:
            self._hurry.clear()

    def _settles_at(self) -> float:
        """When all must be settled next, in the event loop's time."""
        return self._settled_at + (min(URGENT_SECONDS, self._pace.settle) if self._is_urgent else self._pace.settle)

    def _must_settle(self) -> bool:
        if self._unsettled + len(self._waiting) >= self._limits.batch:
            return True
        return asyncio.get_running_loop().time() >= self._settles_at()

    def _must_work_in(self) -> bool:
        return asyncio.get_running_loop().time() >= self._worked_in_at + self._pace.work_in

    async def _write(self, batch: Batch) -> bool:
        """Write `batch`, trying again for as long as it takes; returns False where it was given up, at the end."""
        back_off = BackOff(self._pace.pauses)
        while True:
            is_last_try = self._draining.is_set()
            try:
                await self._ask(self._medium.write, batch)
            except JournalError as error:
                self._become(error.trouble)
            except Exception as error:  # noqa: BLE001 - what only this batch brings about must not end the rest
                self._give_up(batch, type(error).__name__)
                return True
            else:
                self._count(batch)
                return True
            if is_last_try:
                return False
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(back_off.failed()):
                    await self._draining.wait()

    def _count(self, batch: Batch) -> None:
        self._written += len(batch.rows)
        self._unsettled += len(batch.rows)
        self._beside += len(batch.rows)
        self._failed += batch.failed
        self._failure = batch.failure or self._failure
        if batch.settles:
            self._unsettled = 0
            self._settled_at = asyncio.get_running_loop().time()
            if not batch.may_wait:
                self._beside = 0
                self._worked_in_at = self._settled_at
        self._become(None)

    def _give_up(self, batch: Batch, failure: str) -> None:
        """`batch` cannot be written, and neither can what was not worked in before it."""
        self._written -= self._beside
        self._failed += self._beside + len(batch)
        self._unsettled = self._beside = 0
        self._failure = failure

    async def _ask(self, function: Callable[_P, _T], *arguments: _P.args, **more: _P.kwargs) -> _T:
        asked_at_ms = self._now().elapsed_ms
        self._asked_at_ms.append(asked_at_ms)
        try:
            return await self._worker.call(function, *arguments, **more)
        finally:
            self._asked_at_ms.remove(asked_at_ms)

    def _say_losses(self) -> None:
        dropped = self._waiting.shed_heard - self._shed_said
        if dropped:
            self._say_shed()
        elif self._sheds:
            self._sheds = False
            self._since_ms = self._since_ms if self._trouble else self._now().time_ms
        failures = self._failed - self._failed_said
        self._failed_said += failures
        if failures:
            self._log.error("frames cannot be kept", count=failures, error=self._failure)

    def _say_shed(self) -> None:
        """Frames were shed: health says so from now on, and the log at once; then, while it goes on, every minute."""
        dropped = self._waiting.shed_heard - self._shed_said
        self._shed_said += dropped
        if not self._sheds:
            self._sheds = True
            self._since_ms = self._since_ms if self._trouble else self._now().time_ms
        self._log.warning("more is heard than the disk takes", shed=dropped)

    def _become(self, trouble: Trouble | None) -> None:
        """Take note of a change, and log it once: a disk may be full for a month."""
        is_first_proof = trouble is None and not self._has_proof
        self._has_proof |= is_first_proof
        if trouble == self._trouble and not is_first_proof:
            return
        was_down = self._trouble is not None
        if (trouble is None) is was_down or is_first_proof:
            self._since_ms = self._now().time_ms
        self._trouble = trouble
        if trouble is None:
            if was_down:
                self._log.info("what is heard is kept again")
        elif trouble is not _STOPPED:
            self._log.warning("what is heard cannot be kept", why=trouble.why, do=trouble.do)
