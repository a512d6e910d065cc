"""Who may hold a connection: so many in all, fewer for one address, and none for long without asking for anything.

Whoever opens connections and stays silent would keep everybody else out, the one who asks whether the gateway lives
among them. So a newcomer takes the place of the one who has been silent for longest: of his own address where that has
its share already, of any where all places are taken. Where nobody is silent, he is turned away.
"""

from collections import Counter
from collections.abc import Hashable
from typing import Generic, TypeVar

Holder = TypeVar("Holder", bound=Hashable)


class Places(Generic[Holder]):
    """Keeps account of who holds a place, at which address, and who has not asked for anything yet."""

    def __init__(self, limit: int, share: int) -> None:
        """`limit` in all, `share` for one address."""
        self.limit = limit
        self.share = share
        self.turned_away = 0
        """How many had to leave, or were not let in, so that others have room."""

        self._addresses: dict[Holder, str] = {}
        self._silent: dict[Holder, str] = {}
        """The longest-silent first."""

        self._holders_by_address: Counter[str] = Counter()

    def __len__(self) -> int:
        return len(self._addresses)

    def take(self, holder: Holder, address: str) -> Holder | None:
        """Give `holder` a place; what comes back has to leave for it, and may be `holder` itself."""
        leaving: Holder | None = None
        if self._holders_by_address[address] >= self.share:
            leaving = next((each for each, of in self._silent.items() if of == address), holder)
        elif len(self._addresses) >= self.limit:
            leaving = next(iter(self._silent), holder)
        if leaving is not None:
            self.turned_away += 1
            self.leave(leaving)
        if leaving is not holder:
            self._addresses[holder] = self._silent[holder] = address
            self._holders_by_address[address] += 1
        return leaving

    def ask(self, holder: Holder) -> None:
        """`holder` has asked for something."""
        self._silent.pop(holder, None)

    def leave(self, holder: Holder) -> None:
        """`holder` is gone, if it had a place."""
        address = self._addresses.pop(holder, None)
        self._silent.pop(holder, None)
        if address is not None:
            self._holders_by_address[address] -= 1
            if not self._holders_by_address[address]:
                del self._holders_by_address[address]
