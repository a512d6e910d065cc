"""How work for the house gives way to frames on their way up: in short slices, with rests in proportion after them."""

import asyncio
import math
from dataclasses import dataclass
from time import perf_counter, thread_time

SLICE_SECONDS = 0.00025
"""How long a piece of work may keep the event loop to itself."""


@dataclass(frozen=True, slots=True)
class Rests:
    """How many times as long as a round took the next one is put off: with 4, it takes a fifth of a core at most."""

    usual: float
    while_busy: float
    """The same while frames wait to be judged: what readers do not get then is shed, and counted."""

    shortest: float = 0.0
    """In seconds, as is `longest`."""

    longest: float = math.inf

    def after(self, took: float, *, busy: bool) -> float:
        """For how many seconds to rest after so many; `busy`: frames wait to be judged."""
        return min(max(self.shortest, took * (self.while_busy if busy else self.usual)), self.longest)


class Round:
    """What one round takes of the processor, and when it should give way to the rest of the gateway."""

    def __init__(self) -> None:
        self._took = 0.0
        self._began = perf_counter()
        self._began_thread = thread_time()

    async def give_way(self) -> None:
        """Let everything else have its turn, if this slice has lasted long enough."""
        if perf_counter() - self._began >= SLICE_SECONDS:
            self._took = self.took
            await asyncio.sleep(0)
            self._began = perf_counter()
            self._began_thread = thread_time()

    @property
    def took(self) -> float:
        """How many seconds of the processor it took so far: less than passed, where others want the processor too."""
        return self._took + thread_time() - self._began_thread
