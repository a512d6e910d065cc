"""The things that raised alerts: when each began, was told last, held last and ended. Bounded; no I/O, no clock."""

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass

from gateway.frames.heard import Moment
from gateway.frames.plain import HIGHEST_NUMBER
from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.remembered import listed, pieces_of

MAXIMUM_EPISODES = 10_000
"""Stations about which an alert was raised, about 4 MB; past it the one raised least lately is forgotten."""

LONGEST_WHOM = 64
"""More than any callsign or name of an object has."""


@dataclass(slots=True)
class Episode:
    """One thing that raised an alert. Elapsed times but for `since_ms`, which is Unix milliseconds."""

    since_ms: int
    raised_ms: int
    held_ms: int
    has_stopped: bool = False
    """A frame has said that it holds no more."""

    is_over: bool = False


class Episodes(BoundedMapping[tuple[str, str], Episode]):
    """The last episode of each entry and station."""

    def __init__(self) -> None:
        super().__init__(MAXIMUM_EPISODES)

    def begin(self, name: str, whom: str, moment: Moment, *, lasts: bool = True) -> Episode:
        """The entry raises an alert about `whom`, who did not go on raising one before; `lasts`: it may go on."""
        episode = Episode(moment.time_ms, moment.elapsed_ms, moment.elapsed_ms, is_over=not lasts)
        self[name, whom] = episode
        self.move_to_end((name, whom))
        return episode

    def over(self, has_ended: Callable[[Episode], bool]) -> Iterator[tuple[str, str]]:
        """Those that have ended since this was asked last: the entry, and whom it was about."""
        for key, episode in self.items():
            if not episode.is_over and has_ended(episode):
                episode.is_over = True
                yield key

    def dump(self) -> Iterator[list[list[object]]]:
        """All of them, in pieces."""
        for episodes in pieces_of(self):
            yield [
                [*key, one.since_ms, one.raised_ms, one.held_ms, one.has_stopped, one.is_over] for key, one in episodes
            ]

    def restore(self, entries: object, names: Collection[str], shift_ms: int) -> None:
        """Take in a piece; an episode of another shape, or of none of these names, is left out."""
        for entry in listed(entries):
            match entry:
                case [str(name), str(whom), int(since_ms), int(raised_ms), int(held_ms), bool(stopped), bool(over)]:
                    if name in names and len(whom) <= LONGEST_WHOM and 0 <= since_ms <= HIGHEST_NUMBER:
                        raised_ms, held_ms = min(raised_ms + shift_ms, 0), min(held_ms + shift_ms, 0)
                        self[name, whom] = Episode(since_ms, raised_ms, held_ms, stopped, over)


def is_past(limit_ms: int | None, passed_ms: int) -> bool:
    """Whether so much has passed; None: never."""
    return limit_ms is not None and passed_ms >= limit_ms
