"""The header of a frame: who sent it, to what, and through which repeaters it came."""

import re
from dataclasses import dataclass, field
from functools import lru_cache

# IS-Connect, IS-Server: 1-9 characters, letters and digits, at most one hyphen, SSID of 1-2 letters or digits.
_CALLSIGN = re.compile(r"(?=.{1,9}\Z)[A-Za-z0-9]+(?:-[A-Za-z0-9]{1,2})?\Z")

REMEMBERED_HEADERS = 2048
"""Distinct headers whose reading is kept, by each reader: about 0.5 kB each, 1 MB in all."""

REMEMBERED_PATHS = 1024
"""Distinct paths that are kept, by each who reads or writes them: many stations share the few repeaters in reach."""

PLACEHOLDERS = frozenset({"NOCALL", "N0CALL", "MYCALL"})
"""Callsigns that no one owns, left in by whoever did not set up a station (common practice)."""

_SEPARATORS = frozenset(">,:*")


def is_network_callsign(text: str) -> bool:
    """Whether the network accepts `text` as a callsign with or without SSID (IS-Connect, IS-Server)."""
    return _CALLSIGN.match(text) is not None


def is_plain_text(text: str) -> bool:
    """Whether a header may hold `text` as a callsign at all, proper or not.

    Printable ASCII without the separators of the monitor text: what is written can be read back as itself.
    """
    return text.isascii() and text.isprintable() and _SEPARATORS.isdisjoint(text)


def base_of(callsign: str) -> str:
    """The callsign without its SSID."""
    return callsign.partition("-")[0]


def without_ssid_0(callsign: str) -> str:
    """`callsign` with no SSID where it is 0, which nobody writes (common practice).

    `QA1BCD-9-0` is no callsign, and must not be made one.
    """
    return callsign.removesuffix("-0") if callsign.count("-") == 1 else callsign


@dataclass(frozen=True, slots=True)
class Repeater:
    """One entry of the path."""

    callsign: str
    used: bool = False
    """Whether it has repeated the frame: the H bit of AX.25 section 3.12.5, the star of the monitor text."""

    def __str__(self) -> str:
        return f"{self.callsign}*" if self.used else self.callsign


@dataclass(frozen=True, slots=True)
class Header:
    """Source, destination and path, with what every frame needs of them, made once.

    A post hears the same few headers over and over; readers keep the recent ones (see `ax25` and `tnc2`), so
    what is derived here costs nothing for the next frame of the same station.
    """

    source: str
    destination: str
    path: tuple[Repeater, ...] = ()

    network: bytes = field(init=False, repr=False, compare=False)
    """What stands before the q construct in a network line: only the last used repeater is starred."""

    hops: int = field(init=False, repr=False, compare=False)
    """How many entries of the path are used; all before the last used one count (common practice)."""

    def __post_init__(self) -> None:
        network, hops = _written(self.path)
        object.__setattr__(self, "network", f"{self.source}>{self.destination}".encode("ascii", "replace") + network)
        object.__setattr__(self, "hops", hops)

    @property
    def text(self) -> str:
        """Monitor text with a star on every used repeater: nothing of the header is lost in it."""
        return ",".join((f"{self.source}>{self.destination}", *map(str, self.path)))


@lru_cache(maxsize=REMEMBERED_PATHS)
def _written(path: tuple[Repeater, ...]) -> tuple[bytes, int]:
    """What `path` adds to the network line, and its hops."""
    hops = max((place for place, entry in enumerate(path, 1) if entry.used), default=0)
    last_only = [
        f",{entry.callsign}*" if place == hops else f",{entry.callsign}" for place, entry in enumerate(path, 1)
    ]
    return "".join(last_only).encode("ascii", "replace"), hops


@lru_cache(maxsize=REMEMBERED_HEADERS)
def header_of(text: str) -> Header:
    """The header whose `text` this is, to the last flag."""
    start, *path = text.split(",")
    source, _, destination = start.partition(">")
    return Header(source, destination, tuple(Repeater(entry.removesuffix("*"), entry.endswith("*")) for entry in path))
