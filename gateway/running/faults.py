"""Faults of the gateway's own that harm one frame, one look or one file, and must not harm more: counted and said.

What a fault says of itself is not shown, for it may hold text from the air: its kind and its place in the code are.
"""

import contextlib
from collections.abc import Callable, Iterator, Sequence
from enum import StrEnum

import structlog

from gateway.frames.heard import Moment
from gateway.groundwork.duration import HOUR_MS
from gateway.groundwork.log import where
from gateway.groundwork.part import Figure, Part, PartKind, State, counter, counters

SHOWN_MS = HOUR_MS
"""How long after the last fault the gateway is shown as degraded."""

_log = structlog.get_logger("stile")


class Doing(StrEnum):
    """What the gateway was doing when a fault came up."""

    JUDGING = "judging"
    TELLING = "telling"
    """The house: the watches or a sink."""

    HEALTH = "health"
    MEMORY = "memory"
    WATCHING_FILES = "watching-files"


class Faults:
    """Contains faults. It answers for the gateway as a whole: see `part.Answers`."""

    def __init__(self, now: Callable[[], Moment]) -> None:
        self._now = now
        self._counts = dict.fromkeys(Doing, 0)
        self._unsaid = dict.fromkeys(Doing, 0)
        self._frames = 0
        self._since_ms = now().time_ms
        self._last: tuple[Doing, int] | None = None
        """Of the last fault: what was done, and the elapsed time."""

    @contextlib.contextmanager
    def contained(self, doing: Doing, frames: int = 0) -> Iterator[None]:
        """Let no fault out of the block; `frames` are those that it would have served."""
        try:
            yield
        except Exception as error:  # noqa: BLE001 - see the module
            self.contain(doing, error, frames)

    def contain(self, doing: Doing, error: Exception, frames: int) -> None:
        """Count a fault. The first of its kind is said at once, the others are summed up by `tick`."""
        if not self._counts[doing]:
            _log.error("a fault of the gateway's own", doing=doing, error=type(error).__name__, where=where(error))
        else:
            self._unsaid[doing] += 1
        moment = self._now()
        if self._is_sound(moment):
            self._since_ms = moment.time_ms
        self._counts[doing] += 1
        self._frames += frames
        self._last = doing, moment.elapsed_ms

    def tick(self) -> None:
        """Say what came since it was last said."""
        for doing, count in self._unsaid.items():
            if count:
                _log.error("more faults of the gateway's own", doing=doing, count=count)
                self._unsaid[doing] = 0

    def part(self) -> Part:
        """Whether there were faults lately."""
        if self._last is None or self._is_sound(self._now()):
            return Part(PartKind.GATEWAY, PartKind.GATEWAY, State.OK, self._since_ms)
        count = sum(self._counts.values())
        why = f"{count} faults of the gateway's own since the start, the last one while {self._last[0]}"
        return Part(
            PartKind.GATEWAY, PartKind.GATEWAY, State.DEGRADED, self._since_ms, why, "see the log, and report it"
        )

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        return [
            *counters("faults", "doing", self._counts, "Faults of the gateway's own that were contained."),
            counter(
                "untold", self._frames, "Frames that were not judged, or of which one was not told, by such faults."
            ),
        ]

    def _is_sound(self, moment: Moment) -> bool:
        return self._last is None or moment.elapsed_ms - self._last[1] >= SHOWN_MS
