"""Linux framebuffers: how their pixels lie, asked of the kernel, and a picture written to them.

The structures are those of the kernel's `linux/fb.h`: `fb_var_screeninfo` and `fb_fix_screeninfo`.
"""

import contextlib
import fcntl
import os
import struct
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

from gateway.commands.panel.screen import Screen, ScreenError
from gateway.glance import png
from gateway.glance.scene import SIZES, Canvas, Colours, Ground, Scene

_GET_VARIABLE, _GET_FIXED = 0x4600, 0x4602
_VARIABLE = struct.Struct("@40I")
_FIXED = struct.Struct("@16sLIIIIHHHILIIHHH0L")
_PACKED_PIXELS = 0
_TRUE_COLOUR, _DIRECT_COLOUR = 2, 4
_BITS = (16, 32)


@dataclass(frozen=True, slots=True)
class BitField:
    """Where a colour stands in a pixel: so many bits, from that one on, counted from the least."""

    offset: int
    length: int


@dataclass(frozen=True, slots=True)
class Geometry:
    """How the pixels lie in the memory of a framebuffer."""

    width: int
    height: int
    pixel_octets: int
    line_octets: int
    """From the beginning of a line to that of the next one."""

    red: BitField
    green: BitField
    blue: BitField
    transparency: BitField = BitField(0, 0)
    start: int = 0
    """Where the part begins that is seen, in octets."""


@contextlib.contextmanager
def framebuffer(path: Path, colours: Colours, ground: Ground, geometry: Geometry | None = None) -> Iterator[Screen]:
    """A framebuffer, open for a block. Raises `ScreenError`.

    `geometry` is what the kernel would say of it, for something that is none.
    """
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
    except OSError as error:
        raise ScreenError(f"{path}: {_why(error)}") from None
    try:
        geometry = geometry or _geometry(path, descriptor)
        canvas = Canvas(geometry.width, geometry.height, colours, ground)
        yield Screen(canvas, partial(_show, path, descriptor, geometry))
    finally:
        os.close(descriptor)


def _show(path: Path, descriptor: int, geometry: Geometry, scene: Scene) -> None:
    try:
        octets = packed(png.picture(scene).tobytes(), geometry)
    except png.PillowMissingError as error:
        raise ScreenError(str(error)) from None
    line = geometry.width * geometry.pixel_octets
    try:
        for row in range(geometry.height):
            _write(descriptor, octets[row * line : (row + 1) * line], geometry.start + row * geometry.line_octets)
    except OSError as error:
        raise ScreenError(f"{path}: {_why(error)}") from None


def _write(descriptor: int, octets: bytes, place: int) -> None:
    while octets:
        written = os.pwrite(descriptor, octets, place)
        octets, place = octets[written:], place + written


def packed(pixels: bytes, geometry: Geometry) -> bytes:
    """Pixels of red, green and blue, an octet each, as the framebuffer takes them, line after line without a gap."""
    count = len(pixels) // 3
    colours = (
        (pixels[0::3], geometry.red),
        (pixels[1::3], geometry.green),
        (pixels[2::3], geometry.blue),
        (b"\xff" * count, geometry.transparency),  # nothing shines through
    )
    octets = bytearray(count * geometry.pixel_octets)
    for place in range(geometry.pixel_octets):
        shift = 8 * (place if sys.byteorder == "little" else geometry.pixel_octets - 1 - place)
        joined = 0  # all the pixels' octets at this place, as one number: they are joined at once
        for values, field in colours:
            joined |= int.from_bytes(values.translate(_table(field, shift)), "little")
        octets[place :: geometry.pixel_octets] = joined.to_bytes(count, "little")
    return bytes(octets)


@cache
def _table(field: BitField, shift: int) -> bytes:
    """For each value of a colour: the octet of the pixel that begins at bit `shift`."""
    values = (value << field.length >> 8 for value in range(256))
    return bytes((value << field.offset >> shift) & 0xFF for value in values)


def _geometry(path: Path, descriptor: int) -> Geometry:
    """What the kernel says of it. Raises `ScreenError`."""
    variable, fixed = bytearray(_VARIABLE.size), bytearray(_FIXED.size)
    try:
        fcntl.ioctl(descriptor, _GET_VARIABLE, variable)
        fcntl.ioctl(descriptor, _GET_FIXED, fixed)
        return read_geometry(bytes(variable), bytes(fixed))
    except OSError:
        raise ScreenError(f"{path}: is no framebuffer: `ls /dev/fb*` shows those that there are") from None
    except ScreenError as error:
        raise ScreenError(f"{path}: {error}") from None


def read_geometry(variable: bytes, fixed: bytes) -> Geometry:
    """The geometry in both of the kernel's structures. Raises `ScreenError` where nothing can be drawn so."""
    width, height, _, _, left, top, bits, grey, *rest = _VARIABLE.unpack(variable)
    fields = [BitField(offset, length) for offset, length in zip(rest[0:12:3], rest[1:12:3], strict=True)]
    not_standard = rest[12]
    _, _, _, kind, _, visual, _, _, _, line_octets, *_ = _FIXED.unpack(fixed)
    if kind != _PACKED_PIXELS or visual not in {_TRUE_COLOUR, _DIRECT_COLOUR} or not_standard or grey:
        raise ScreenError("has no true colours: use `--file`, and what shows pictures on it")
    if bits not in _BITS:
        raise ScreenError(f"has {bits} bits a pixel: 16 and 32 can be written")
    if not Canvas(width, height).can_be_drawn:
        raise ScreenError(f"is {width}x{height}: {SIZES} can be drawn")
    octets = bits // 8
    if line_octets < width * octets or any(field.offset + field.length > bits for field in fields):
        raise ScreenError("says of itself what cannot be so: is its driver the right one?")
    red, green, blue, transparency = fields
    return Geometry(
        width, height, octets, line_octets, red, green, blue, transparency, top * line_octets + left * octets
    )


def _why(error: OSError) -> str:
    if isinstance(error, PermissionError):
        return "this user may not write to it: is it in the group `video`?"
    return error.strerror or "cannot be written to"
