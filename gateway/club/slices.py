"""Which of a club's frames a hub takes: some of sixteen slices, into which frames fall by who sent them. No I/O.

A frame's slice is a number from the callsign of its sender: of the innermost frame, by which duplicates and rates know
it. So all copies of a transmission, and all that one station sends, come to the same hubs, whoever heard it. A post
writes the slice into the subject of its message, where the engine can tell slices apart. A hub reckons it once more.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Self
from zlib import crc32

from gateway.frames.frame import Damaged, Frame
from gateway.frames.header import REMEMBERED_HEADERS
from gateway.frames.third_party import is_third_party, unwrap

SLICES = 16
UNREADABLE = 0
"""The slice of what no sender can be read of."""


def slice_of(frame: Frame | Damaged) -> int:
    """The slice of a frame as it was heard."""
    if isinstance(frame, Damaged):
        return UNREADABLE
    return slice_of_sender(unwrap(frame).innermost.source if is_third_party(frame) else frame.source)


@lru_cache(maxsize=REMEMBERED_HEADERS)
def slice_of_sender(callsign: str) -> int:
    """The slice of all that a station sends: its CRC-32 (that of ISO/IEC/IEEE 8802-3), of which the last four bits."""
    return crc32(callsign.encode("utf-8", "replace")) % SLICES


@dataclass(frozen=True, slots=True)
class Slices:
    """The slices that a hub takes: one or more, in order."""

    numbers: tuple[int, ...] = tuple(range(SLICES))

    @classmethod
    def of(cls, numbers: Iterable[int]) -> Self:
        """Those of these numbers. Raises `ValueError` where they are none."""
        ordered = tuple(sorted(set(numbers)))
        if not ordered or ordered[0] < 0 or ordered[-1] >= SLICES:
            raise ValueError(f"slices are numbers from 0 to {SLICES - 1}, one or more of them")
        return cls(ordered)

    @property
    def are_all(self) -> bool:
        """Whether it is the whole club."""
        return len(self.numbers) == SLICES

    def name(self, word: str) -> str:
        """What a word of the club's is called for these slices: hubs that take the same share it."""
        return word if self.are_all else f"{word}.{'-'.join(map(str, self.numbers))}"

    def overlap(self, other: "Slices") -> bool:
        """Whether both take the same slice, and they are not the same: such hubs would both send its frames."""
        return self != other and not set(self.numbers).isdisjoint(other.numbers)

    def to_octets(self) -> bytes:
        """As a hub's beat says it."""
        return json.dumps(self.numbers, separators=(",", ":")).encode("ascii")

    def __str__(self) -> str:
        return "all slices" if self.are_all else f"slices {', '.join(map(str, self.numbers))}"


ALL = Slices()
MAXIMUM_OCTETS = len(ALL.to_octets())


def read_slices(octets: bytes) -> Slices | None:
    """Read what a hub's beat says; None where it says none."""
    if len(octets) > MAXIMUM_OCTETS:
        return None
    try:
        return slices_from(json.loads(octets))
    except (ValueError, RecursionError):
        return None


def slices_from(value: object) -> Slices:
    """Those of a list in JSON. Raises `ValueError`."""
    if not isinstance(value, list) or not all(type(number) is int for number in value):
        raise ValueError("slices are a list of whole numbers")
    return Slices.of(value)
