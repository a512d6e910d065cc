"""What was handed to the kernel and is not yet acknowledged: how many lines, and since when. No I/O, no clock."""

from collections import deque
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class _WriteInFlight:
    end: int
    """The count of all octets handed over, this write included."""

    lines: bytes
    handed_over_ms: int


class InFlight:
    """The writes of one connection whose octets the other end has not acknowledged, oldest first.

    It learns of acknowledgements from `review`, which is told how many octets are outstanding. What it holds is as
    bounded as they are: a write that is all acknowledged is forgotten.
    """

    def __init__(self) -> None:
        self.octets = 0
        """All octets handed over so far, acknowledged or not."""

        self.carried_lines = False
        """Whether any line but a login was handed over."""

        self._acknowledged = 0
        self._writes: deque[_WriteInFlight] = deque()

    @property
    def writes(self) -> int:
        """How many writes are remembered: some may be acknowledged since the last `review`."""
        return len(self._writes)

    @property
    def lines(self) -> int:
        """How many lines were not wholly acknowledged at the last `review`, or were handed over since."""
        # Only the first write can be acknowledged in part: count the line ends after that part.
        return sum(
            write.lines.count(b"\n", max(0, self._acknowledged - (write.end - len(write.lines))))
            for write in self._writes
        )

    @property
    def since_ms(self) -> int | None:
        """When the oldest octet that is not known to be acknowledged was handed over; None where there is none."""
        return self._writes[0].handed_over_ms if self._writes else None

    def handed_over(self, lines: bytes, now_ms: int) -> None:
        """A write of whole lines of ours."""
        self.octets += len(lines)
        self.carried_lines = True
        self._writes.append(_WriteInFlight(self.octets, lines, now_ms))

    def handed_over_login(self, octets: int) -> None:
        """A write that no one waits for."""
        self.octets += octets

    def review(self, outstanding_octets: int) -> None:
        """Forget what is acknowledged: all octets but the last `outstanding_octets`."""
        self._acknowledged = self.octets - outstanding_octets
        while self._writes and self._writes[0].end <= self._acknowledged:
            self._writes.popleft()
