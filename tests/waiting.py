"""Waiting for what tells nobody when it changes."""

import asyncio
from collections.abc import Callable

FAIL_SAFE_SECONDS = 20.0


async def until(holds: Callable[[], bool]) -> None:
    """Wait until `holds`, which is asked every few milliseconds."""
    async with asyncio.timeout(FAIL_SAFE_SECONDS):
        while not holds():  # noqa: ASYNC110 - what it looks at has no event to wait for
            await asyncio.sleep(0.005)
