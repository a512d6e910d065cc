"""Which frames went up lately: copies that come by other ways within the window are known by it."""

from collections.abc import Iterator
from itertools import chain

from gateway.judge.state import DuplicatesState

MAXIMUM_REMEMBERED = 65_536
"""Keys held at most, about 9 MB: more than any radio channel brings in a window of 30 s by two hundred times."""

MAXIMUM_OCTETS = 8 * 1024 * 1024
"""Of the keys held: frames of the greatest length would else fill 38 MB. With what holds them it is 15 MB at most."""


class RecentForwards:
    """The keys of the frames judged `forward`, for as long as a copy of one counts as its duplicate.

    Two generations, each as old as a window at most: a key is looked for in both, and the older one is forgotten
    whole, so that nothing is ever searched or sorted. Past `MAXIMUM_REMEMBERED` or `MAXIMUM_OCTETS` the older half is
    forgotten early.
    """

    def __init__(self, window_ms: int) -> None:
        self.window_ms = window_ms
        self.remembered = 0
        """How many frames it was told of."""

        self._recent: dict[bytes, int] = {}
        self._older: dict[bytes, int] = {}
        self._recent_began = 0
        self._recent_octets = 0

    @property
    def newest_ms(self) -> int:
        """When the last frame of which it was told went up; 0 where there is none."""
        return next(reversed((self._recent or self._older).values()), 0)

    def __len__(self) -> int:
        return len(self._recent) + len(self._older)

    def since(self, key: bytes, elapsed_ms: int) -> int | None:
        """How long ago the frame with this key was judged `forward`, in milliseconds; None where not in the window."""
        at = self._recent.get(key)
        if at is None:
            at = self._older.get(key)
        if at is None or elapsed_ms - at >= self.window_ms:
            return None
        return elapsed_ms - at

    def remember(self, key: bytes, elapsed_ms: int) -> None:
        """The frame with this key was judged `forward` now. Later copies do not extend the window."""
        if (
            elapsed_ms - self._recent_began >= self.window_ms
            or len(self._recent) >= MAXIMUM_REMEMBERED // 2
            or self._recent_octets >= MAXIMUM_OCTETS // 2
        ):
            self._older, self._recent = self._recent, {}
            self._recent_began, self._recent_octets = elapsed_ms, 0
        self._recent[key] = elapsed_ms
        self._recent_octets += len(key)
        self.remembered += 1

    def state(self) -> DuplicatesState:
        """All that it knows: another that takes it in answers alike for ever."""
        return DuplicatesState.model_construct(
            recent=list(self._recent.items()),
            older=list(self._older.items()),
            recent_began=self._recent_began,
            recent_octets=self._recent_octets,
        )

    def resume(self, state: DuplicatesState) -> None:
        """Take in what `state` gave out, in place of what was known."""
        self._recent, self._older = dict(state.recent), dict(state.older)
        self._recent_began, self._recent_octets = state.recent_began, state.recent_octets

    def entries(self) -> Iterator[tuple[bytes, int]]:
        """Every key that it holds now, with the elapsed time at which its frame went up, the oldest first.

        They may be taken one by one while others are remembered: of the older generation nothing ever changes, and
        copying the other costs a third of a millisecond at most.
        """
        return chain(self._older.items(), self._recent.copy().items())
