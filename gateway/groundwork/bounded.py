"""Memories that stay small whatever comes from the air: what is oldest makes room. No I/O, no clock."""

from collections import OrderedDict, deque
from collections.abc import Callable
from typing import TypeVar

_Key = TypeVar("_Key")
_Value = TypeVar("_Value")


class BoundedMapping(OrderedDict[_Key, _Value]):
    """`limit` entries at most: one more pushes out the first, which was put or renewed longest ago."""

    def __init__(self, limit: int, on_pushed_out: Callable[[_Key], object] | None = None) -> None:
        """`on_pushed_out` is told of every key that had to go."""
        super().__init__()
        self.limit = limit
        self._on_pushed_out = on_pushed_out

    def __setitem__(self, key: _Key, value: _Value) -> None:
        super().__setitem__(key, value)
        if len(self) > self.limit:
            first, _ = self.popitem(last=False)
            if self._on_pushed_out is not None:
                self._on_pushed_out(first)

    def renew(self, key: _Key) -> _Value | None:
        """What stands at `key`, which is the last to go from now on; None where nothing does."""
        value = self.get(key)
        if value is not None:
            self.move_to_end(key)
        return value


class SheddingQueue(deque[_Value]):
    """What waits, `limit` entries at most: one more sheds the oldest."""

    def __init__(self, limit: int) -> None:
        super().__init__(maxlen=limit)

    def offer(self, value: _Value) -> bool:
        """Append `value`; whether the oldest was shed for it."""
        sheds = len(self) == self.maxlen
        self.append(value)
        return sheds


class Newest(deque[tuple[_Value, int]]):
    """The newest entries, each with about how many octets it holds: bounded by number and by octets.

    The very newest stays, however large.
    """

    def __init__(self, limit: int, limit_octets: int) -> None:
        super().__init__()
        self._limit = limit
        self._limit_octets = limit_octets
        self._octets = 0

    def put(self, value: _Value, octets: int) -> None:
        """One more, which holds about so many octets."""
        self.append((value, octets))
        self._octets += octets
        while len(self) > self._limit or (self._octets > self._limit_octets and len(self) > 1):
            self._octets -= self.popleft()[1]
