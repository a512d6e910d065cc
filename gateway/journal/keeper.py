"""Keeps the memories that outlive a restart: which of them are due to be dumped, and their dumps."""

import asyncio
from collections.abc import Iterator, Sequence

import structlog

from gateway.feed.heard_object import HeardPayload
from gateway.frames.heard import Run
from gateway.groundwork.remembered import Remembered
from gateway.journal.batch import Dump

_log = structlog.get_logger()


class Keeper:
    """Dumps the memories of one run, each when it has changed and no oftener than it wants to be."""

    def __init__(self, run: Run, memories: Sequence[Remembered[HeardPayload]]) -> None:
        self._run = run
        self._memories = memories
        self._dumped: dict[str, tuple[int, int]] = {}
        """Of each memory that was dumped: its revision then, and the elapsed time."""

    def is_kept(self, memory: Remembered[HeardPayload]) -> None:
        """What was restored of a memory is all that it knows: no dump is due before something changes."""
        self._dumped[memory.name] = memory.revision, self._run.now().elapsed_ms

    def begin_anew(self) -> None:
        """What was kept is lost: every memory is due."""
        self._dumped.clear()

    async def dumps(self, *, leaving: bool) -> list[Dump]:
        """A dump of every memory that is due; when `leaving`, of every one that has changed.

        Between two pieces the others in the event loop have their turn.
        """
        due = [memory for memory in self._memories if self._is_due(memory, leaving=leaving)]
        dumps = [dump for memory in due if (dump := await self._dump(memory)) is not None]
        return [*dumps, *self._unchanged()] if dumps else []

    def _is_due(self, memory: Remembered[HeardPayload], *, leaving: bool) -> bool:
        dumped = self._dumped.get(memory.name)
        if dumped is None:
            return True
        revision, at_ms = dumped
        return memory.revision != revision and (leaving or self._run.now().elapsed_ms - at_ms >= memory.every_ms)

    async def _dump(self, memory: Remembered[HeardPayload]) -> Dump | None:
        self._dumped[memory.name] = memory.revision, self._run.now().elapsed_ms
        dump = Dump(memory.name, memory.version, self._run.heard)
        try:
            for piece in memory.dump():
                if piece:
                    dump.pieces.append(piece)
                await asyncio.sleep(0)
        except Exception as error:  # noqa: BLE001 - a fault in one memory must not keep the others from being kept
            _log.error("a memory cannot be kept", name=memory.name, error=type(error).__name__)
            return None
        return dump

    def _unchanged(self) -> Iterator[Dump]:
        """What has not changed is up to date, too: what was heard meanwhile need not be heard again after a restart."""
        for memory in self._memories:
            dumped = self._dumped.get(memory.name)
            if dumped is not None and dumped[0] == memory.revision:
                yield Dump(memory.name, memory.version, self._run.heard, changed=False)
