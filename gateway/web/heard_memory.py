"""The frames heard last, newest last and bounded: what `/api/heard` looks back at. No I/O, no clock."""

from itertools import islice

from gateway.bounded import Newest
from gateway.feed.heard_object import HeardPayload


class HeardMemory:
    """The last frames of this run. Their JSON is made when somebody asks for it."""

    def __init__(self, *, limit: int, limit_octets: int) -> None:
        """At most `limit` frames are remembered, and about `limit_octets` octets of them."""
        self._frames = Newest[HeardPayload](limit, limit_octets)

    def __len__(self) -> int:
        return len(self._frames)

    @property
    def last_heard_ms(self) -> int | None:
        """When the last frame was heard, in Unix milliseconds; None: none was."""
        return self._frames[-1][0].judged.heard.moment.time_ms if self._frames else None

    def heard(self, payload: HeardPayload, weight: int) -> None:
        """A frame was heard and judged, which holds about `weight` octets."""
        self._frames.put(payload, weight)

    def page(self, limit: int, before: int | None) -> tuple[list[HeardPayload], int | None]:
        """At most `limit` frames, the newest first, of those whose sequence is below `before`.

        And what `before` should be for the next page: None where nothing older is remembered.
        """
        older = (frame for frame, _ in reversed(self._frames) if before is None or frame.judged.heard.sequence < before)
        page = list(islice(older, limit))
        return page, page[-1].judged.heard.sequence if next(older, None) is not None else None
