"""Python's collector of objects that refer to each other in circles: spared while frames pass, and run now and then."""

import asyncio
import gc

COLLECT_SECONDS = 300.0

NEW_OBJECTS = 5_000
"""So many more before the new ones are looked at: 200 clients that come and go leave 4,500, which hold a megabyte."""


def spare_the_collector() -> None:
    """What was loaded stays loaded, and what a frame leaves behind has no circles: look for garbage seldom."""
    gc.freeze()
    gc.set_threshold(NEW_OBJECTS, 20, 50)


async def collect_now_and_then() -> None:
    """For ever: what frames do not leave behind, connections that have ended do, and so does every error.

    Left to itself, the collector looks at what has lived for a while after five million new objects: on a quiet post
    never. All at once takes some milliseconds, with 5,000 stations some tens.
    """
    while True:
        await asyncio.sleep(COLLECT_SECONDS)
        gc.collect()
