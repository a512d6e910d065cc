"""Follows the stream: judges every frame of the club in its order. Two that read the same come to the same. No I/O.

Nothing of the hub itself goes into a verdict: the moment is the stream's, room in the line is reckoned for the longest
login, distances are from the post, the policy is an entry of the stream. So a hub that takes over goes on as the other
would have.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from gateway.club import message
from gateway.club.hubs import Hubs
from gateway.club.message import Handed, MessageError
from gateway.club.order import GapError, StreamOrder
from gateway.club.policy_entry import PolicyEntry, PolicyEntryError, read_entry
from gateway.club.posts import Posts
from gateway.club.slices import ALL, Slices, slice_of
from gateway.club.snapshot import Snapshot, SnapshotError
from gateway.club.subjects import Spoken, Subjects, Word
from gateway.frames.heard import Moment, Run
from gateway.judge.conditions import Post
from gateway.judge.judge import Judge
from gateway.judge.source import PolicySource
from gateway.judge.state import JUDGE
from gateway.judge.verdict import Judged

LONGEST_LOGIN = "QX9LOGI-9"
"""A callsign of nine characters, the most that the network takes (IS-Connect): every hub reckons with it."""


class StreamMessage(NamedTuple):
    """A message as the stream holds it."""

    sequence: int
    stamp_ms: int
    """When the engine stored it: Unix milliseconds by the engine's clock."""

    subject: str
    octets: bytes


@lru_cache(maxsize=4096)
def _name_of(post: str, receiver: str) -> str:
    """What a receiver of a post is called in the club: one text for all of its frames."""
    return f"{post}/{receiver}"


class Followed(NamedTuple):
    """A frame of the club, judged."""

    sequence: int
    """Of its message in the stream."""

    moment_ms: int
    """When it was heard, in stream time, at the earliest."""

    judged: Judged
    """Its moment is that of this hub, for the house: the verdict was made by the stream's."""


@dataclass(slots=True)
class FollowerCounts:
    """What was read besides frames that were judged."""

    judged: int = 0
    beats: int = 0
    unreadable: int = 0
    """Messages that are none of a post's, policies that cannot be used, and frames on which no verdict can be given."""

    before_policy: int = 0
    """Frames that no policy was there for."""


class Follower:
    """Where one hub stands in the stream, and all that it knows there."""

    def __init__(
        self,
        subjects: Subjects,
        freshness_ms: int,
        on_policy: Callable[[PolicySource], None],
        slices: Slices = ALL,
        on_fault: Callable[[Exception], None] = lambda _: None,
    ) -> None:
        """`on_policy` is told of each policy that comes into force. `slices`: those of which messages come.

        `on_fault` is told of each frame that no verdict could be given on, which is a fault of the gateway's own.
        """
        self.order = StreamOrder()
        self.posts = Posts()
        self.hubs = Hubs()
        self.counts = FollowerCounts()
        self.judge: Judge | None = None
        self.entry: PolicyEntry | None = None
        """The policy in force, as it stood in the stream."""

        self.refused_policy = ""
        """Why the newest policy of the club cannot be used here; empty where it can."""

        self._last_given_back = 0
        """The last frame that `take` gave back. After a lost place frames are judged once more, and told no more: they
        may have been sent."""

        self._slices = slices
        self._subjects = subjects
        self._freshness_ms = freshness_ms
        self._on_policy = on_policy
        self._on_fault = on_fault

    @property
    def judges_alike(self) -> bool:
        """Whether there is a policy in force, and it is for this judge."""
        return self.judge is not None and self.entry is not None and self.entry.judge == JUDGE

    def take(self, messages: Sequence[StreamMessage], run: Run) -> list[Followed]:
        """Judge what comes next. Raises `GapError` where something is missing before the first of them.

        Where this hub takes some slices only, their reader says whether something is missing.

        It ends early where something is missing further on: the next call then raises.
        """
        followed: list[Followed] = []
        now = run.now()
        for one in messages:
            try:
                if not self._comes_next(one.sequence):
                    continue
            except GapError:
                if followed:
                    break
                raise
            moment = self.order.take(one.sequence, one.stamp_ms)
            frame = self._read(one, moment, Moment(now.elapsed_ms, one.stamp_ms), run)
            if frame is not None and one.sequence > self._last_given_back:
                followed.append(frame)
                self._last_given_back = one.sequence
        return followed

    def snapshot(self) -> Snapshot | None:
        """All that a hub must know to go on from here; None where nothing is judged yet."""
        if self.judge is None or self.entry is None:
            return None
        return Snapshot.model_construct(
            judge=JUDGE,
            sequence=self.order.sequence,
            stamp_ms=self.order.stamp_ms,
            elapsed_ms=self.order.elapsed_ms,
            policy=self.entry.to_octets().decode("utf-8"),
            state=self.judge.state(),
        )

    def resume(self, snapshot: Snapshot) -> None:
        """Go on from there, in place of here. Raises `SnapshotError`."""
        try:
            entry = read_entry(snapshot.policy.encode("utf-8"))
            source = entry.source()
        except PolicyEntryError as error:
            raise SnapshotError(f"the policy in the snapshot cannot be used: {error}") from None
        self.judge = Judge(source.compiled(Post(LONGEST_LOGIN)))
        self.judge.resume(snapshot.state)
        self.entry = entry
        self.order = snapshot.order
        self._on_policy(source)

    def begin(self, first: int) -> None:
        """Know nothing, and begin with the message of that sequence: nothing is judged before a policy that begins."""
        self.judge, self.entry, self.order = None, None, StreamOrder(max(first, 1) - 1)  # an empty stream has none

    def _comes_next(self, sequence: int) -> bool:
        return self.order.follows(sequence) if self._slices.are_all else sequence > self.order.sequence

    def _read(self, one: StreamMessage, moment: Moment, house: Moment, run: Run) -> Followed | None:
        spoken = self._subjects.read(one.subject)
        if spoken is None:
            self.counts.unreadable += 1
        elif spoken.word is Word.HEARD:
            try:
                return self._judge(spoken, one, moment, house, run)
            except Exception as error:  # noqa: BLE001 - it would end every hub of the club, each time that one starts
                self.counts.unreadable += 1
                self._on_fault(error)
        elif spoken.word is Word.POLICY:
            self._change_over(one)
        else:
            self.counts.beats += 1
            if spoken.word is Word.POST_BEAT:
                self.posts.spoke(spoken.member, one.stamp_ms)
            else:
                self.hubs.spoke(spoken.member, one.octets, one.stamp_ms)
        return None

    def _judge(self, spoken: Spoken, one: StreamMessage, moment: Moment, house: Moment, run: Run) -> Followed | None:
        post = spoken.member
        handed = _handed(one.octets, spoken.slice)
        if handed is None:
            self.counts.unreadable += 1
            self.posts.spoke(post, one.stamp_ms).unreadable += 1
            return None
        if self.judge is None:
            self.counts.before_policy += 1
            self.posts.heard(post, None, one.stamp_ms)
            return None
        heard = run.hear(house, _name_of(post, handed.receiver), handed.port, handed.frame, handed.place)
        judged = self.judge.judge(heard, moment)
        self.counts.judged += 1
        self.posts.heard(post, judged, one.stamp_ms)
        earliest_ms = min(max(handed.moment_ms, one.stamp_ms - self._freshness_ms), one.stamp_ms)
        return Followed(one.sequence, earliest_ms, judged)

    def _change_over(self, one: StreamMessage) -> None:
        try:
            entry = read_entry(one.octets)
            source = entry.source()
        except PolicyEntryError as error:
            self.counts.unreadable += 1
            self.refused_policy = str(error)
            return
        compiled = source.compiled(Post(LONGEST_LOGIN))
        if entry.begins_for(self._slices):
            self.judge = Judge(compiled)
            self.order.elapsed_ms = 0  # wherever a hub began to read, here it is as far as the others
        elif self.judge is None:
            return  # what the judge knew before it is not known here: a snapshot will tell
        else:
            self.judge.replace(compiled, self.order.elapsed_ms)
        self.entry = entry
        self.refused_policy = ""
        self._on_policy(source)


def _handed(octets: bytes, its_slice: int | None) -> Handed | None:
    """What a post handed on; None where it cannot be read, or came in a slice that is not its own.

    In another slice another hub would send it, too: copies of one transmission must come to the same judge.
    """
    try:
        handed = message.read(octets)
    except MessageError:
        return None
    return handed if its_slice in (None, slice_of(handed.frame)) else None
