"""Wrong tokens: whoever shows one after the other is asked to wait, longer each time. No I/O, no clock."""

from dataclasses import dataclass

from gateway.groundwork.bounded import BoundedMapping

FREE = 3
"""So many wrong ones cost nothing: an operator may slip."""

LONGEST_PAUSE_MS = 60_000
FORGET_MS = 600_000
"""An address that showed no wrong one for so long begins anew."""

ADDRESSES = 1024

SAY_MS = 60_000


@dataclass(frozen=True, slots=True)
class _Wrong:
    count: int
    last_ms: int


class Guesses:
    """Remembers who showed wrong tokens, and when."""

    def __init__(self) -> None:
        self._wrong_by_address: BoundedMapping[str, _Wrong] = BoundedMapping(ADDRESSES)
        self._unsaid = 0
        self._said_ms: int | None = None

    def pause_ms(self, address: str, now_ms: int) -> int:
        """For how long no token of this address is looked at; 0 where it is."""
        wrong = self._wrong_by_address.get(address)
        if wrong is None or wrong.count <= FREE:
            return 0
        pause_ms = min(LONGEST_PAUSE_MS, 1000 << min(wrong.count - FREE - 1, 16))
        return max(0, wrong.last_ms + pause_ms - now_ms)

    def wrong(self, address: str, now_ms: int) -> int:
        """One more wrong token; gives back how many came since that was last to be said, 0 where it is not to be."""
        before = self._wrong_by_address.renew(address)
        count = 0 if before is None or now_ms - before.last_ms > FORGET_MS else before.count
        self._wrong_by_address[address] = _Wrong(count + 1, now_ms)
        self._unsaid += 1
        if self._said_ms is not None and now_ms - self._said_ms < SAY_MS:
            return 0
        self._said_ms = now_ms
        unsaid, self._unsaid = self._unsaid, 0
        return unsaid
