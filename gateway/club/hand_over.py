"""What waits at a post to be handed to the hubs, bounded in octets and in age, and what became of it. No I/O, no clock.

A frame waits, is under way (published, not yet answered), and comes to one end. What is not answered goes back to
where it stood and is published again under the same id: the engine refuses an id that it has. At every moment:
offered = the sum of all ends + waiting + under way.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from heapq import heappop, heappush

from gateway.frames.frame import Damaged, Frame
from gateway.frames.heard import Place

MAXIMUM_WAITING_OCTETS = 1024 * 1024
"""Of frames that wait: about an hour of the busiest radio channel, far more than stays fresh."""

COST_OF_ONE = 256
"""Octets that are reckoned for each frame besides those of its information: what holds it in memory."""

MAXIMUM_UNDER_WAY = 256
"""Frames that are published and not yet answered. The client buffers them in turn, so this bounds its memory, too."""


class End(StrEnum):
    """What became of a frame at a post. Every frame has one end, and only one."""

    HANDED_ON = "handed-on"
    """The engine has stored it."""

    LATE = "late"
    """It waited longer than it stays fresh."""

    DROPPED = "dropped"
    """Too many waited, and it was the oldest."""

    UNANSWERED = "unanswered"
    """It was published and no answer came while it was fresh: nobody knows whether the engine stored it."""

    REFUSED = "refused"
    """The engine took the message and refused it."""

    STOPPED = "stopped"


@dataclass(frozen=True, slots=True)
class Offer:
    """A frame as a receiver of the post heard it."""

    receiver: str
    port: int
    heard_ms: float
    """The monotonic time at which it was heard, in milliseconds."""

    frame: Frame | Damaged
    place: Place | None = None


@dataclass(slots=True, order=True)
class Parcel:
    """A frame that waits or is under way. The one heard first is the least."""

    sequence: int
    """Counts from 1 within a start of the post."""

    offer: Offer = field(compare=False)
    moment_ms: int | None = field(default=None, compare=False)
    """When it was heard in stream time, at the earliest that was ever told; set when it is first published."""

    published: int = field(default=0, compare=False)


class HandOver:
    """The frames of one start of a post, oldest first."""

    def __init__(self, *, freshness_ms: int, limit_octets: int = MAXIMUM_WAITING_OCTETS) -> None:
        self.report: Callable[[End, Parcel], None] | None = None
        """Told of every end, if anybody wants to know; the counts already hold it."""

        self.offered = 0
        self.counts = dict.fromkeys(End, 0)
        self.repeated = 0
        self._freshness_ms = freshness_ms
        self._limit_octets = limit_octets
        self._waiting: list[Parcel] = []  # a heap
        self._under_way: dict[int, Parcel] = {}
        self._octets = 0

    @property
    def waiting(self) -> int:
        """How many wait."""
        return len(self._waiting)

    @property
    def under_way(self) -> int:
        """How many are published and not yet answered."""
        return len(self._under_way)

    @property
    def open(self) -> bool:
        """Whether any frame has not come to its end."""
        return bool(self._waiting or self._under_way)

    def put(self, offers: Sequence[Offer]) -> None:
        """Let frames wait, after those that do. Past the bound the oldest of all that wait goes."""
        for offer in offers:
            self.offered += 1
            heappush(self._waiting, Parcel(self.offered, offer))
            self._octets += _cost(offer)
        while self._octets > self._limit_octets and self._waiting:
            self._let_go(heappop(self._waiting), End.DROPPED)

    def expire(self, now_ms: float) -> None:
        """Let go of what waits and is no longer fresh."""
        oldest_ms = now_ms - self._freshness_ms
        while self._waiting and self._waiting[0].offer.heard_ms < oldest_ms:
            self._let_go_unpublished(heappop(self._waiting), End.LATE)

    def take(self) -> Parcel | None:
        """The oldest that waits, to be published now; None where none does, or enough are under way."""
        if not self._waiting or len(self._under_way) >= MAXIMUM_UNDER_WAY:
            return None
        parcel = heappop(self._waiting)
        self.repeated += parcel.published > 0
        parcel.published += 1
        self._under_way[parcel.sequence] = parcel
        return parcel

    def answered(self, parcel: Parcel, end: End = End.HANDED_ON) -> None:
        """The engine answered."""
        del self._under_way[parcel.sequence]
        self._let_go(parcel, end)

    def unanswered(self, parcel: Parcel) -> None:
        """No answer came: it waits again, where it stood."""
        del self._under_way[parcel.sequence]
        heappush(self._waiting, parcel)

    def stop(self) -> None:
        """Nothing more is handed on. Whoever waits for answers is to have said so before."""
        while self._waiting:
            self._let_go_unpublished(heappop(self._waiting), End.STOPPED)

    def _let_go_unpublished(self, parcel: Parcel, end: End) -> None:
        self._let_go(parcel, End.UNANSWERED if parcel.published else end)

    def _let_go(self, parcel: Parcel, end: End) -> None:
        self._octets -= _cost(parcel.offer)
        self.counts[end] += 1
        if self.report is not None:
            self.report(end, parcel)


def _cost(offer: Offer) -> int:
    octets = offer.frame.octets if isinstance(offer.frame, Damaged) else offer.frame.information
    return COST_OF_ONE + len(octets)
