"""Work that goes on until a signal ends it, in an orderly way."""

import asyncio
import contextlib
import signal
from collections.abc import Coroutine
from typing import Any, TypeVar

_T = TypeVar("_T")


def until_a_signal(work: Coroutine[Any, Any, _T]) -> _T | None:
    """What comes of the work, in an event loop of its own; None where a signal ended it before."""
    with contextlib.suppress(asyncio.CancelledError):
        return asyncio.run(_ended_by_signals(work))
    return None


async def _ended_by_signals(work: Coroutine[Any, Any, _T]) -> _T:
    task = asyncio.current_task()
    if task is not None:
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            asyncio.get_running_loop().add_signal_handler(number, task.cancel)
    return await work
