"""Long work in short turns: many objects are encoded for one answer without keeping anybody else waiting."""

import asyncio
from collections.abc import AsyncIterator, Callable, Iterable, Iterator
from time import perf_counter
from typing import TypeVar

from gateway.groundwork.giving_way import SLICE_SECONDS

_T = TypeVar("_T")


class Turns:
    """However many answers are being made, there is one turn at a time, and everything else has its own between."""

    def __init__(self) -> None:
        self.failed = 0
        """How many objects could not be encoded: a fault of the gateway's own, not of the air's."""

        self._turn = asyncio.Lock()

    async def encode(self, items: Iterable[_T], encode: Callable[[_T], bytes]) -> AsyncIterator[list[bytes]]:
        """The items encoded, as many at a time as one turn allows; those that cannot be are left out, and counted."""
        iterator = iter(items)
        is_done = False
        while not is_done:
            async with self._turn:
                encoded, is_done = self._take_turn(iterator, encode)
                await asyncio.sleep(0)
            yield encoded

    def _take_turn(self, items: Iterator[_T], encode: Callable[[_T], bytes]) -> tuple[list[bytes], bool]:
        """What one turn encodes, and whether nothing is left."""
        encoded = []
        began = perf_counter()
        for item in items:
            try:
                encoded.append(encode(item))
            except Exception:  # noqa: BLE001 - one object that cannot be made must not end the answer: it is counted
                self.failed += 1
            if perf_counter() - began >= SLICE_SECONDS:
                return encoded, False
        return encoded, True
