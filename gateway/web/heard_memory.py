"""The frames heard last, newest last and bounded: what `/api/heard` looks back at. No I/O, no clock.

They are numbered in the order in which they come, those from before a restart first.
"""

from itertools import islice

from gateway.feed.heard_object import HeardPayload
from gateway.groundwork.bounded import Newest
from gateway.judge.verdict import Reason


class HeardMemory:
    """The last frames. Their JSON is made when somebody asks for it."""

    def __init__(self, *, limit: int, limit_octets: int) -> None:
        """At most `limit` frames are remembered, and about `limit_octets` octets of them."""
        self._frames = Newest[HeardPayload](limit, limit_octets)
        self._count = 0
        self.news: HeardPayload | None = None
        """The last frame that told something of a station: it could be read, and was no copy."""

        self.emergency: HeardPayload | None = None
        """The last frame that said emergency, however many were heard since."""

    def __len__(self) -> int:
        return len(self._frames)

    @property
    def last_heard_ms(self) -> int | None:
        """When the last frame was heard, in Unix milliseconds; None: none was."""
        return self._frames[-1][0].judged.heard.moment.time_ms if self._frames else None

    def heard(self, payload: HeardPayload, weight: int) -> None:
        """A frame was heard and judged, which holds about `weight` octets."""
        self._frames.put(payload, weight)
        self._count += 1
        judged = payload.judged
        if judged.innermost is not None and judged.verdict.reason is not Reason.DUPLICATE:
            self.news = payload
        if judged.emergency and judged.counts_as_emergency:
            self.emergency = payload

    def of(self, source: str) -> list[HeardPayload]:
        """The frames of a station, the newest first."""
        return [frame for frame, _ in reversed(self._frames) if _source_of(frame) == source]

    def up_to(self, run: str, sequence: int) -> list[HeardPayload]:
        """That frame and those before it, it being the last one; none where it is not remembered."""
        frames: list[HeardPayload] = []
        for frame, _ in self._frames:
            frames.append(frame)
            heard = frame.judged.heard
            if (heard.sequence, heard.run) == (sequence, run):
                return frames
        return []

    def page(self, limit: int, before: int | None) -> tuple[list[HeardPayload], int | None]:
        """At most `limit` frames, the newest first, of those whose number is below `before`.

        And what `before` should be for the next page: None where nothing older is remembered.
        """
        newest = self._count if before is None else min(before - 1, self._count)
        skipped = self._count - newest
        page = [frame for frame, _ in islice(reversed(self._frames), skipped, skipped + limit)]
        is_last = skipped + len(page) >= len(self._frames)
        return page, None if is_last else newest - len(page) + 1


def _source_of(frame: HeardPayload) -> str | None:
    innermost = frame.judged.innermost
    return None if innermost is None else innermost.source
