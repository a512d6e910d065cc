"""Python's collector of objects that refer to each other in circles: spared while frames pass, and run now and then."""

import asyncio
import gc

COLLECT_SECONDS = 300.0
"""Five minutes of clients and servers that come and go leave some thousand such objects behind."""


def spare_the_collector() -> None:
    """What was loaded stays loaded, and what a frame leaves behind has no circles: look for garbage seldom."""
    gc.freeze()
    gc.set_threshold(20_000, 20, 50)


async def collect_now_and_then() -> None:
    """For ever: what frames do not leave behind, connections that have ended do, and so does every error.

    Left to itself, the collector looks at what has lived for a while after twenty million new objects: on a quiet post
    never. All at once takes some milliseconds, with 5,000 stations some tens.
    """
    while True:
        await asyncio.sleep(COLLECT_SECONDS)
        gc.collect()
