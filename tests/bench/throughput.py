"""Frames a second from a decoder's socket to the network's, beside a bare relay that gets the same octets at once."""

import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from functools import partial
from pathlib import Path

from tests.bench.ends import KISS_MARK, Ends, Readers, burst
from tests.bench.figures import Effort, Figure, in_turn, per_second, ratio
from tests.bench.processes import gateway, least, relay

FRAMES = 50_000
AT_A_TIME = 1000


class Numbered:
    """Frames that nobody had yet."""

    def __init__(self) -> None:
        self._next = 0

    def take(self, count: int) -> bytes:
        """So many of them in KISS."""
        first, self._next = self._next, self._next + count
        return b"".join(burst(number, AT_A_TIME) for number in range(first, first + count, AT_A_TIME))


def rate(ends: Ends, frames: int, take: Callable[[int], bytes]) -> float:
    """Frames a second that come out."""
    octets, due = take(frames), ends.received + frames
    began = time.perf_counter()
    ends.send(octets)
    if not ends.wait_for(due):
        raise AssertionError(f"{due - ends.received} of {frames} frames did not come out")
    return frames / (time.perf_counter() - began)


def measure(effort: Effort) -> Iterator[Figure]:
    """The gateway's, and that of what does the least that any gateway does."""
    frames = max(effort.of(FRAMES), AT_A_TIME) // AT_A_TIME * AT_A_TIME
    with ExitStack() as stack:
        readers = stack.enter_context(Readers())
        bare, little, ends = Ends(readers, KISS_MARK), Ends(readers), Ends(readers)
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        stack.enter_context(relay(bare))
        stack.enter_context(least(little))
        stack.enter_context(gateway(ends, folder))
        take = Numbered().take
        by_name = {"relay": bare, "the least that any gateway does": little, "gateway": ends}
        sides = {name: partial(rate, each, frames, take) for name, each in by_name.items()}
        in_turn(1, sides)  # warms up
        rates = in_turn(effort.turns, sides)
    for name in by_name:
        if name != "relay":
            yield ratio(name, rates[name], rates["relay"], per_second("frames"), "relay")
