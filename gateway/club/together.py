"""Runs what belongs together, and ends it surely.

The client of the engine swallows a cancellation that reaches it while it flushes (nats-py 2.16, `_flush_pending`). A
task that was cancelled there goes on, and whoever waits for its end would wait for ever. So it is cancelled again.
"""

import asyncio
from collections.abc import Coroutine, Iterable
from typing import Any

AGAIN_SECONDS = 0.1


async def together(*coroutines: Coroutine[Any, Any, object]) -> None:
    """Run them until one returns or raises, which is raised here; then none of them runs any more."""
    tasks = [asyncio.ensure_future(coroutine) for coroutine in coroutines]
    try:
        done, _ = await asyncio.wait(tasks, return_when=asyncio.FIRST_COMPLETED)
        for task in done:
            task.result()
    finally:
        await end(tasks)


async def end(tasks: Iterable["asyncio.Future[Any]"]) -> None:
    """Cancel them, until all of them have ended. What they raise at their end is not raised here."""
    running = {task for task in tasks if not task.done()}
    cancelled = False
    while running:
        for task in running:
            task.cancel()
        try:
            await asyncio.wait(running, timeout=AGAIN_SECONDS)
        except asyncio.CancelledError:
            cancelled = True
        running = {task for task in running if not task.done()}
    if cancelled:
        raise asyncio.CancelledError
