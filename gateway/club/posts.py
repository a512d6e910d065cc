"""What each post of the club is worth: when it last spoke, what it heard, what it alone heard, what it heard first.

No I/O, no clock: times are the stream's stamps, in Unix milliseconds, so every hub says the same.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import chain

from gateway.frames.frame import Frame
from gateway.frames.plain import PlainObject, rfc3339
from gateway.groundwork.bounded import BoundedMapping
from gateway.judge.verdict import Judged

MAXIMUM_POSTS = 2000
MINUTE_MS = 60_000
COPIES_MS = 30_000
"""Copies of one transmission come within so long (IS-Server)."""

MAXIMUM_FRAMES = 65_536
_HEARD_BY_SEVERAL = ""


@dataclass(slots=True)
class PostRecord:
    """One post."""

    last_word_ms: int = 0
    last_heard_ms: int | None = None
    frames: int = 0
    alone: int = 0
    """Transmissions that no other post heard, and that none can hear any more."""

    first: int = 0
    """Transmissions whose first copy in the stream was this post's."""

    unreadable: int = 0
    """Messages of it that were none."""

    this_minute: int = 0
    last_minute: int = 0
    minute: int = 0


class Posts:
    """The posts of a club."""

    def __init__(self) -> None:
        self.transmissions = 0
        """Frames told apart by sender, destination and information, each counted once."""

        self._posts: BoundedMapping[str, PostRecord] = BoundedMapping(MAXIMUM_POSTS)
        self._recent: dict[int, str] = {}
        """By the hash of a transmission the post that heard it, or that several did."""

        self._older: dict[int, str] = {}
        self._recent_began_ms = 0

    def __len__(self) -> int:
        return len(self._posts)

    def spoke(self, post: str, stamp_ms: int) -> PostRecord:
        """A message of a post came, whatever it says."""
        record = self._posts.get(post)
        if record is None:
            record = self._posts[post] = PostRecord()
        record.last_word_ms = stamp_ms
        return record

    def heard(self, post: str, judged: Judged | None, stamp_ms: int) -> None:
        """A post heard a frame; None: nobody judged it."""
        record = self.spoke(post, stamp_ms)
        record.frames += 1
        record.last_heard_ms = stamp_ms
        minute = stamp_ms // MINUTE_MS
        if minute != record.minute:
            record.last_minute = record.this_minute if minute == record.minute + 1 else 0
            record.this_minute, record.minute = 0, minute
        record.this_minute += 1
        if judged is not None and judged.innermost is not None:
            self._count_copy(post, judged.innermost, judged.information, stamp_ms)

    def records(self) -> Mapping[str, PostRecord]:
        """All posts that spoke lately, by name."""
        return self._posts

    def to_objects(self, now_ms: int) -> list[PlainObject]:
        """The plain form, by name. `now_ms` is stream time."""
        alone = Counter(chain(self._recent.values(), self._older.values()))  # as far as is known yet
        return [
            self._to_object(name, record, record.alone + alone[name], now_ms)
            for name, record in sorted(self._posts.items())
        ]

    def _to_object(self, name: str, record: PostRecord, alone: int, now_ms: int) -> PlainObject:
        plain: PlainObject = {
            "name": name,
            "last_word": rfc3339(record.last_word_ms),
            "frames": record.frames,
            "frames_last_minute": _last_minute(record, now_ms),
            "alone": alone,
            "first": record.first,
            "first_share": round(record.first / self.transmissions, 3) if self.transmissions else 0,
        }
        if record.last_heard_ms is not None:
            plain["last_heard"] = rfc3339(record.last_heard_ms)
        return plain

    def _count_copy(self, post: str, frame: Frame, information: bytes, stamp_ms: int) -> None:
        if abs(stamp_ms - self._recent_began_ms) >= COPIES_MS or len(self._recent) >= MAXIMUM_FRAMES // 2:
            for heard_by in self._older.values():
                if heard_by != _HEARD_BY_SEVERAL and heard_by in self._posts:
                    self._posts[heard_by].alone += 1
            self._older, self._recent, self._recent_began_ms = self._recent, {}, stamp_ms
        # The hash stands for the frame: to keep the frames themselves would cost more than all the rest of this.
        key = hash((frame.source, frame.destination, information.rstrip(b" ")))
        for posts in (self._recent, self._older):
            if key in posts:
                if posts[key] != post:
                    posts[key] = _HEARD_BY_SEVERAL
                return
        self._recent[key] = post
        self.transmissions += 1
        self._posts[post].first += 1


def _last_minute(record: PostRecord, now_ms: int) -> int:
    """About how many frames in the last minute: of the minute before, as much as is still within it."""
    behind = now_ms // MINUTE_MS - record.minute
    if behind > 1:
        return 0
    share = 1 - now_ms % MINUTE_MS / MINUTE_MS
    return round(record.this_minute * share) if behind == 1 else record.this_minute + round(record.last_minute * share)
