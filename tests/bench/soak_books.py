"""The books of a soak: what the decoder said and when, what reached the network and when, and what is wrong with it.

Every frame has a number in its text, so that it is known wherever it comes out.
"""

import re
import time
from dataclasses import dataclass, field

from demo.network_server import Fault, NetworkServer

FRESHNESS_SECONDS = 5.0

SLACK_SECONDS = 1.5
"""A line may arrive so much later, beside what the soak itself stood still: the computer has other things to do."""

_NUMBER = re.compile(rb"soak (\d{7})")


@dataclass
class Books:
    """Everything that was said and heard. `wrong` says what must not be, in words."""

    said: dict[int, float] = field(default_factory=dict)
    """When the decoder first said the frame of this number to a gateway."""

    arrived: dict[int, float] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)
    arrived_in_run: int = 0
    """Since the gateway was started last."""

    unread_in_run: int = 0
    """How often since then a server was cut off: what its kernel had taken and it never read, nobody can know."""

    own_lag: float = 0.0
    """How long the soak itself stood still lately."""

    worst_seconds: float = 0.0

    def begin_run(self) -> None:
        """A gateway was started."""
        self.arrived_in_run = self.unread_in_run = 0

    def note(self, wrong: str) -> None:
        """Something that must not be."""
        self.wrong.append(wrong)
        print(f"      WRONG: {wrong}", flush=True)

    def arrive(self, line: bytes, fault: Fault | None) -> None:
        """A server got a whole line."""
        now = time.monotonic()
        if fault is not None:
            self.note(f"{line!r} {fault.value}")
        found = _NUMBER.search(line)
        if found is None or b"kept" in line:
            self.note(f"{line!r} should never go up")
            return
        number = int(found[1])
        self.arrived_in_run += 1
        if number in self.arrived:
            self.note(f"{number} went up twice, {now - self.arrived[number]:.1f} s apart")
            return
        self.arrived[number] = now
        seconds = now - self.said.get(number, 0.0)
        self.worst_seconds = max(self.worst_seconds, seconds)
        if seconds > FRESHNESS_SECONDS + SLACK_SECONDS + self.own_lag:
            self.note(f"{number} went up {seconds:.1f} s after it was heard")


class Witness(NetworkServer):
    """A server that writes down all that it gets."""

    def __init__(self, books: Books) -> None:
        super().__init__(receive_buffer_octets=4096)
        self._books = books

    def judge(self, line: bytes, fault: Fault | None) -> None:
        """Count it, and write it down."""
        super().judge(line, fault)
        self._books.arrive(line, fault)

    def cut_off(self) -> None:
        """Reset every connection, whatever was not read of them."""
        self._books.unread_in_run += 1
        self.reset()


def frame(number: int, station: int) -> bytes:
    """Monitor text of the frame of this number, with one of some hundred headers."""
    path = (b"QD1RPT*,WIDE2-1", b"WIDE1-1", b"QD1RPT,QD2RPT*")[station % 3]
    return b"QA%03d-%d>APRS,%b:!5836.%02dN/00355.%02dW>088/036soak %07d" % (
        station,
        station % 15 + 1,
        path,
        number % 60,
        number * 7 % 60,
        number,
    )


def kept_frame(number: int) -> bytes:
    """One that came from the internet: it must never go up."""
    return b"QB%03d>APRS,TCPIP*:>kept soak %07d" % (number % 100, number)
