"""The order of the stream, and its elapsed time: the same for every hub, whenever it reads. No I/O, no clock."""

from dataclasses import dataclass

from gateway.frames.heard import Moment

LONGEST_STEP_MS = 60_000
"""From one message to the next no more time passes than this, and never less than none: a server whose clock was set,
or that another took over from, cannot empty the judge's windows or hold them shut."""


class GapError(Exception):
    """Messages are missing: what the judge knows is no longer what the other hubs know."""


@dataclass(slots=True)
class StreamOrder:
    """Where a reader of the stream stands. Its three numbers belong into every snapshot."""

    sequence: int = 0
    """Of the last message that was taken."""

    stamp_ms: int = 0
    """When the engine stored it, in Unix milliseconds by the engine's clock."""

    elapsed_ms: int = 0
    """How much time has passed since the first message, as the judge counts it."""

    def follows(self, sequence: int) -> bool:
        """Whether a message is the next one; not one that was taken before. Raises `GapError`."""
        if sequence > self.sequence + 1 and self.sequence:
            raise GapError(f"after message {self.sequence} of the stream comes {sequence}")
        return sequence > self.sequence

    def take(self, sequence: int, stamp_ms: int) -> Moment:
        """Take the next message; gives back the moment that the judge is told."""
        if self.sequence:
            self.elapsed_ms += min(max(stamp_ms - self.stamp_ms, 0), LONGEST_STEP_MS)
        self.sequence = sequence
        self.stamp_ms = stamp_ms
        return Moment(self.elapsed_ms, stamp_ms)
