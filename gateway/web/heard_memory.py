"""The frames heard last, newest last and bounded: what `/api/heard` looks back at. No I/O, no clock."""

from collections import deque
from itertools import islice

from gateway.feed.heard_object import HeardPayload


class HeardMemory:
    """The last frames of this run. Their JSON is made when somebody asks for it."""

    def __init__(self, *, limit: int, limit_octets: int) -> None:
        """At most `limit` frames are remembered, and about `limit_octets` octets of them."""
        self._limit = limit
        self._limit_octets = limit_octets
        self._frames: deque[tuple[HeardPayload, int]] = deque()
        self._octets = 0

    def __len__(self) -> int:
        return len(self._frames)

    @property
    def last_heard_ms(self) -> int | None:
        """When the last frame was heard, in Unix milliseconds; None: none was."""
        return self._frames[-1][0].judged.heard.moment.time_ms if self._frames else None

    def heard(self, payload: HeardPayload, weight: int) -> None:
        """A frame was heard and judged, which holds about `weight` octets."""
        frames = self._frames
        frames.append((payload, weight))
        self._octets += weight
        while len(frames) > self._limit or (self._octets > self._limit_octets and len(frames) > 1):
            self._octets -= frames.popleft()[1]

    def page(self, limit: int, before: int | None) -> tuple[list[HeardPayload], int | None]:
        """At most `limit` frames, the newest first, of those whose sequence is below `before`.

        And what `before` should be for the next page: None where nothing older is remembered.
        """
        newest_first = (frame for frame, _ in reversed(self._frames))
        older = (frame for frame in newest_first if before is None or frame.judged.heard.sequence < before)
        page = list(islice(older, limit))
        return page, page[-1].judged.heard.sequence if next(older, None) is not None else None
