"""Counting by keys that come from the air, in a memory that is bounded whatever comes."""

from collections.abc import Hashable, Iterator
from typing import Generic, TypeVar

MAXIMUM_KEYS = 65_536
"""Keys of one count, about 10 MB: more than all stations that a post hears in a year."""

_Key = TypeVar("_Key", bound=Hashable)


class BoundedCounter(Generic[_Key]):
    """Sums by key. When no room is left for another key, its amounts go to `others`: no sum loses anything."""

    def __init__(self, maximum: int = MAXIMUM_KEYS) -> None:
        self.others = 0
        self._maximum = maximum
        self._counts: dict[_Key, int] = {}

    def add(self, key: _Key, amount: int = 1) -> None:
        """Add to the sum of `key`."""
        counts = self._counts
        if key in counts:
            counts[key] += amount
        elif len(counts) < self._maximum:
            counts[key] = amount
        else:
            self.others += amount

    def __len__(self) -> int:
        return len(self._counts)

    def __iter__(self) -> Iterator[_Key]:
        return iter(self._counts)

    def __getitem__(self, key: _Key) -> int:
        return self._counts.get(key, 0)

    def total(self) -> int:
        """The sum of all."""
        return sum(self._counts.values()) + self.others

    def greatest(self, how_many: int | None = None) -> list[tuple[_Key, int]]:
        """The keys with the greatest sums, those first; equal ones in the order of their text."""
        ordered = sorted(self._counts.items(), key=lambda item: (-item[1], str(item[0])))
        return ordered[:how_many]
