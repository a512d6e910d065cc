"""KISS framing: a stream of bytes from a modem ↔ the frames in it (KISS)."""

import re

from gateway.frames.delimited import DelimitedStream
from gateway.frames.frame import Damaged, damaged

FEND = b"\xc0"
FESC = b"\xdb"
TFEND = b"\xdc"
TFESC = b"\xdd"

MAXIMUM_ESCAPED_OCTETS = 2048
"""The longest run between two FENDs that is taken for a frame: several times the longest that AX.25 allows."""

MAXIMUM_PORT = 15

_BROKEN_ESCAPE = re.compile(rb"\xdb(?![\xdc\xdd])")


class KissDecoder:
    """Takes the bytes of one connection as they come and gives back the data frames in them.

    Any split and any coalescing of the bytes decodes the same. What stands before the first FEND is the tail of a
    frame whose head was not seen, and is passed over.
    """

    def __init__(self) -> None:
        self.commands_ignored = 0
        """Frames that were no data: commands 1-6 and 15 travel from host to modem only."""

        self._stream = DelimitedStream(FEND, MAXIMUM_ESCAPED_OCTETS, starts_delimited=False)

    def feed(self, data: bytes) -> list[tuple[int, bytes | Damaged]]:
        """Take `data`; return (port, octets after the type byte) for each frame that is now complete."""
        frames: list[tuple[int, bytes | Damaged]] = []
        for piece in self._stream.feed(data):  # FENDs back to back are padding: no empty piece comes
            if len(piece) > MAXIMUM_ESCAPED_OCTETS:
                frames.append((0, damaged(f"no end within {MAXIMUM_ESCAPED_OCTETS} octets", piece)))
                continue
            octets = _unescaped(piece) if FESC in piece else piece
            if octets is None:
                # KISS itself says to carry on; a frame that lost an octet must not go up.
                frames.append((0, damaged("a KISS escape is broken", piece)))
            elif octets[0] & 0x0F:
                self.commands_ignored += 1
            else:
                frames.append((octets[0] >> 4, octets[1:]))
        return frames


def _unescaped(piece: bytes) -> bytes | None:
    if _BROKEN_ESCAPE.search(piece):
        return None
    return piece.replace(FESC + TFEND, FEND).replace(FESC + TFESC, FESC)


def encode(octets: bytes, port: int = 0) -> bytes:
    """One data frame for `port` (0-15), escaped, between two FENDs."""
    if not 0 <= port <= MAXIMUM_PORT:
        raise ValueError(f"a KISS port is a number from 0 to {MAXIMUM_PORT}, not {port}")
    body = bytes((port << 4,)) + octets
    return FEND + body.replace(FESC, FESC + TFESC).replace(FEND, FESC + TFEND) + FEND
