"""What of a gateway stands on the screen of a watch, and the keys that change it. No I/O."""

from collections.abc import Iterator
from enum import Enum, auto

_ESCAPE = 0x1B


class Face(Enum):
    """What is shown."""

    OVERVIEW = auto()
    """The four tiles, the stations, the last frames."""

    PARTS = auto()
    """Every part with what it counts, and the sums."""

    HELP = auto()


KEYS = "q quits   p parts and counts   ? helps"

HELP = """\
q quits. p shows every part with what it counts, and again the overview. ? shows this, and again the overview.

antenna: how many frames a minute are heard over the air; "quiet" is less than this post is used to, and "not known" is
said while no decoder tells. decoder: whether what turns sound into frames is connected or away, and when the last frame
came. uplink: the connection to the network, and how much of what should go up was sent. house: all the rest, as bus,
text port, web, journal, policy and clock; and how many read along.

A part is ok: it works, and something has shown that it does; waiting: nothing has shown yet that it works; quiet: less
comes from it than usual; degraded: it does a part of its work; down: it does not work.

A station is "direct" where its own transmission was heard, and else stands with the repeater that was heard. Its
place is the last one that it told of itself, as seen from here.
"""

_SHOWN_BY = {"p": Face.PARTS, "?": Face.HELP}
_QUITS = "q"


def keys_in(octets: bytes) -> Iterator[str]:
    """The keys in what a terminal sent at once: a sequence, as arrows send one, is none of them."""
    if octets[:1] != bytes([_ESCAPE]):
        yield from octets.decode("ascii", "ignore").lower()


def quits(key: str) -> bool:
    """Whether this key ends the watch."""
    return key == _QUITS


def turned(face: Face, key: str) -> Face:
    """What is shown after this key: a second time it leads back."""
    other = _SHOWN_BY.get(key, face)
    return Face.OVERVIEW if other is face and key in _SHOWN_BY else other
