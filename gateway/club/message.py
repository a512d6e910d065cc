"""A heard frame on its way from a post to the hubs, as one message of the stream: octets ↔ `Handed`. No I/O.

    octets   what
    1        the form: 1
    1        what the frame's octets are (`Carried`)
    1        the port of a modem with several, as KISS numbers them: 0 to 15
    1        how long the receiver's name is: 1 to 63
    8        the moment heard, in milliseconds of stream time since 1970, at the earliest that it can have been
    4, 4     latitude and longitude of the post in ten-millionths of a degree (WGS 84); both `NO_PLACE`: not told
    ...      the receiver's name
    ...      the frame's octets

Whole numbers are big-endian. The name of the post is not here: it stands in the subject, to which the engine holds it.
Neither is the message's id (`message_id`): it travels in the engine's own header, which refuses an id seen before.

What comes is a stranger's: everything is bounded and checked, and nothing of it is shown in an error.
"""

import re
import secrets
import struct
from enum import IntEnum
from functools import lru_cache
from typing import NamedTuple

from gateway.frames import ax25, tnc2
from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame, damaged
from gateway.frames.heard import Place
from gateway.frames.kiss import MAXIMUM_PORT

FORM = 1
NO_PLACE = -(2**31)
PLACE_UNITS = 10_000_000
"""In a degree: about a centimetre each. Every hub reckons with the same whole numbers."""

MAXIMUM_FRAME_OCTETS = tnc2.MAXIMUM_LINE_OCTETS + 128
"""The longest line of monitor text, with what its header can be longer by in AX.25 or with every star written."""

MAXIMUM_RECEIVER = 63
LATEST_MOMENT_MS = 2**53 - 1

_HEAD = struct.Struct("!BBBBQii")
MAXIMUM_OCTETS = _HEAD.size + MAXIMUM_RECEIVER + MAXIMUM_FRAME_OCTETS
_RECEIVER = re.compile(rb"[a-z0-9][a-z0-9-]{0,62}\Z")
_UNREADABLE = "the post could not read it"


class Carried(IntEnum):
    """What the octets of the frame are."""

    AX25 = 0
    """An AX.25 frame without its check sequence."""

    TEXT = 1
    """A line of monitor text, every used repeater starred, without its end: for headers that AX.25 cannot hold."""

    DAMAGE = 2
    """What a receiver could not read."""


class MessageError(ValueError):
    """The octets are no message of a post; the text is our own and holds nothing of them."""


class Handed(NamedTuple):
    """A frame as a post hands it on."""

    receiver: str
    port: int
    moment_ms: int
    """When it was heard, in stream time, at the earliest."""

    place: Place | None
    frame: Frame | Damaged


def new_run() -> str:
    """What sets one start of a post apart from all others: 128 random bits, so that nobody guesses another's ids."""
    return secrets.token_hex(16)


def message_id(run: str, sequence: int) -> str:
    """The id by which the engine knows a message that is handed over again."""
    return f"{run}-{sequence}"


def write(handed: Handed) -> bytes:
    """The message of `handed`."""
    carried, octets = _carry(handed.frame)
    receiver = handed.receiver.encode("ascii")
    latitude, longitude = _place_units(handed.place)
    head = _HEAD.pack(FORM, carried, handed.port, len(receiver), handed.moment_ms, latitude, longitude)
    return b"".join((head, receiver, octets))


def read(octets: bytes) -> Handed:
    """Read a message. Raises `MessageError`."""
    if not _HEAD.size < len(octets) <= MAXIMUM_OCTETS:
        raise MessageError("a message of this length is no post's")
    form, carried, port, length, moment_ms, latitude, longitude = _HEAD.unpack_from(octets)
    if form != FORM:
        raise MessageError(f"form {form} of a message is not known here")
    if port > MAXIMUM_PORT or moment_ms > LATEST_MOMENT_MS:
        raise MessageError("port or moment is out of bounds")
    end = _HEAD.size + length
    receiver, place = _receiver(octets[_HEAD.size : end]), _place(latitude, longitude)
    return Handed(receiver, port, moment_ms, place, _frame(carried, octets[end:]))


def _carry(frame: Frame | Damaged) -> tuple[Carried, bytes]:
    if isinstance(frame, Damaged):
        return Carried.DAMAGE, frame.octets
    try:
        octets = ax25.write(frame)
    except ValueError:  # monitor text brought a callsign that no radio's frame can hold
        octets = b""
    if octets and ax25.read(octets) == frame:
        return Carried.AX25, octets
    line = b"%b:%b" % (frame.header.text.encode("ascii", "replace"), tnc2.first_line(frame.information))
    if frame.control == UI and frame.pid == NO_LAYER_3 and tnc2.read(line) == frame:
        return Carried.TEXT, line
    return Carried.DAMAGE, line


def _frame(carried: int, octets: bytes) -> Frame | Damaged:
    if len(octets) > MAXIMUM_FRAME_OCTETS:
        raise MessageError("the frame is longer than a frame can be")
    if carried == Carried.AX25:
        return ax25.read(octets)
    if carried == Carried.TEXT:
        return tnc2.read(octets)
    if carried == Carried.DAMAGE:
        return damaged(_UNREADABLE, octets)
    raise MessageError("what the octets of the frame are is not known here")


@lru_cache(maxsize=1024)
def _receiver(octets: bytes) -> str:
    if _RECEIVER.match(octets) is None:
        raise MessageError("the name of the receiver is none")
    return octets.decode("ascii")


def _place_units(place: Place | None) -> tuple[int, int]:
    if place is None:
        return NO_PLACE, NO_PLACE
    return round(place.latitude * PLACE_UNITS), round(place.longitude * PLACE_UNITS)


@lru_cache(maxsize=1024)
def _place(latitude: int, longitude: int) -> Place | None:
    if (latitude, longitude) == (NO_PLACE, NO_PLACE):
        return None
    if abs(latitude) > 90 * PLACE_UNITS or abs(longitude) > 180 * PLACE_UNITS:
        raise MessageError("the place of the post is nowhere on earth")
    return Place(latitude / PLACE_UNITS, longitude / PLACE_UNITS)
