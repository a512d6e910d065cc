"""Two hubs over a long stream come to the same, wherever the second is lost and begins again."""

import random
from collections.abc import Sequence
from typing import NamedTuple

from gateway.club.follower import Follower, StreamMessage
from gateway.club.snapshot import read_snapshot
from gateway.frames.heard import Run
from gateway.judge.verdict import Verdict
from tests.club.test_follower import follower, stream

Told = tuple[int, int, Verdict]
"""Of a frame: its message, its moment, and what the hub decided."""


class Agreed(NamedTuple):
    """What two hubs agreed in."""

    messages: int
    frames: int
    starts: int
    """How often the second began from a snapshot."""


def alike(frames: int, messages_a_piece: int) -> Agreed | None:
    """Two hubs over so many frames, while posts come and go: what they agreed in; None where they did not.

    In every piece the second is lost at some place, starts from what the first kept before, and reads on behind that.
    """
    chance = random.Random(frames)
    first, second = follower(), follower()
    run, other = Run(), Run()
    sequence = starts = 0
    while first.counts.judged < frames:
        messages = piece(starts, sequence, messages_a_piece)
        sequence += len(messages)
        kept_at = chance.randrange(1, len(messages) // 2)
        lost_at = chance.randrange(kept_at, len(messages))
        before = told(first, messages[:kept_at], run, chance)
        kept = first.snapshot()
        behind = told(first, messages[kept_at:], run, chance)
        by_second = told(second, messages[:lost_at], other, chance)
        if kept is None or by_second != [*before, *behind][: len(by_second)]:
            return None
        second = follower()
        second.resume(read_snapshot(kept.to_octets()))
        if told(second, messages[kept_at:], other, chance) != behind or all_known(first) != all_known(second):
            return None
        starts += 1
    return Agreed(sequence, first.counts.judged, starts)


def piece(number: int, sequence: int, messages: int) -> list[StreamMessage]:
    """The next messages of a stream, after so many."""
    later_ms = number * 7_000_000
    found = stream(messages - 1, draw=number)[1 if number else 0 :]  # one policy begins, in the first piece
    return [
        StreamMessage(place, one.stamp_ms + later_ms, one.subject, one.octets)
        for place, one in enumerate(found, sequence + 1)
    ]


def told(hub: Follower, messages: Sequence[StreamMessage], run: Run, chance: random.Random) -> list[Told]:
    """What a hub says of each frame, read in batches of any size."""
    found: list[Told] = []
    place = 0
    while place < len(messages):
        size = chance.randint(1, 400)
        taken = hub.take(messages[place : place + size], run)
        found += [(one.sequence, one.moment_ms, one.judged.verdict) for one in taken]
        place += size
    return found


def all_known(hub: Follower) -> str:
    """All that a hub knows, as it would keep it."""
    snapshot = hub.snapshot()
    return "" if snapshot is None else snapshot.model_dump_json()


def test_two_hubs_agree_on_twenty_thousand_frames_bit_for_bit() -> None:
    agreed = alike(20_000, 5_500)
    assert agreed is not None
    assert agreed.frames >= 20_000
    assert agreed.starts == 4
