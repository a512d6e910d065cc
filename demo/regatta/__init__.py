"""Wrackholm Bay Regatta: an invented race, and all that a listening post near it hears, fit and unfit to pass on.

Boats race round three buoys; a committee boat, a weather buoy, a rescue launch and the harbour office talk beside them;
repeaters in the harbour and on the headland say much of it again. Every callsign begins with Q and belongs to nobody.
The same draw gives the same race, octet by octet. The call for help is a drill, and says so.
"""

import heapq
from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import count
from random import Random

from demo.regatta.air import OnAir, Turn
from demo.regatta.fleet import fleet
from demo.regatta.shore import shore
from demo.regatta.unfit import unfit

__all__ = ["FIRST_GUN", "OnAir", "frames"]

FIRST_GUN = datetime(2026, 6, 6, 12, 0, tzinfo=UTC)


def frames(draw: int = 1, start: datetime = FIRST_GUN) -> Iterator[OnAir]:
    """All that is heard, in its order, for ever. `start` is the time of the first gun, for reports that tell theirs."""
    chance = Random(draw)
    order = count()  # of those due at the same time, the one that was put in first comes first
    agenda: list[tuple[float, int, Turn | OnAir]] = [
        (turn.first, next(order), turn) for turn in (*fleet(chance, start), *shore(chance, start), *unfit())
    ]
    heapq.heapify(agenda)
    while True:
        seconds, _, item = heapq.heappop(agenda)
        if isinstance(item, OnAir):
            yield item
            continue
        for on_air in item.compose(seconds):
            heapq.heappush(agenda, (on_air.seconds, next(order), on_air))
        again = seconds + item.every * chance.uniform(0.9, 1.1)
        heapq.heappush(agenda, (again, next(order), item))
