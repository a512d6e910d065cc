"""Tasks that live as long as what they belong to: one that ends before that is a fault, and is noticed.

A task group hears of a task that raises. It does not hear of one that returns, or that somebody cancelled: the rest
would go on without it, and look well. Better a gateway that ends and is started again than half of one.
"""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Coroutine
from typing import Any


class TaskEndedError(Exception):
    """A task ended that should have lived on."""


class KeptTasks:
    """Keeps tasks until `end`. Made by `kept_tasks`."""

    def __init__(self, group: asyncio.TaskGroup) -> None:
        self._group = group
        self._kept: list[asyncio.Task[None]] = []
        self._is_ending = False
        self._fault: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        group.create_task(self._raise_fault())

    def keep(self, work: Coroutine[Any, Any, None], name: str, *, may_return: bool = False) -> asyncio.Task[None]:
        """Let it work until the end. Where it may return, it may not be cancelled before its time all the same."""
        task = self._group.create_task(work, name=name)
        task.add_done_callback(self._note_return if may_return else self._note_end)
        self._kept.append(task)
        return task

    def release(self) -> None:
        """From here on tasks may end as they like."""
        self._is_ending = True

    def end(self) -> None:
        """Cancel every task that is left."""
        self.release()
        for task in self._kept:
            task.cancel()
        self._fault.cancel()

    async def _raise_fault(self) -> None:
        with contextlib.suppress(asyncio.CancelledError):  # at the end
            await self._fault

    def _note_return(self, task: asyncio.Task[None]) -> None:
        if task.cancelled() or task.exception() is not None:
            self._note_end(task)

    def _note_end(self, task: asyncio.Task[None]) -> None:
        """The group's own look at the task came before this one: what a task raised, it raises by itself."""
        if not self._is_ending:
            self._is_ending = True  # the others are cancelled now: they are not to be blamed
            if task.cancelled():
                self._fault.set_exception(TaskEndedError(f"{task.get_name()} was cancelled"))
            elif task.exception() is None:
                self._fault.set_exception(TaskEndedError(f"{task.get_name()} came to an end"))


@contextlib.asynccontextmanager
async def kept_tasks() -> AsyncIterator[KeptTasks]:
    """Tasks for as long as the block lasts; leaving it ends them. Raises an exception group where one failed."""
    async with asyncio.TaskGroup() as group:
        kept = KeptTasks(group)
        try:
            yield kept
        finally:
            kept.end()
