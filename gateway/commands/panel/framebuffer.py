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
from functools import cache
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
    opened = Framebuffer(path, geometry)
    try:
        canvas = Canvas(opened.geometry.width, opened.geometry.height, colours, ground)
        yield Screen(canvas, opened.show)
    finally:
        opened.close()


class Framebuffer:
    """A framebuffer that is open until it is closed."""

    def __init__(self, path: Path, geometry: Geometry | None = None) -> None:
        """Raises `ScreenError`. Without a geometry, the kernel is asked for it."""
        try:
            self._descriptor = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        except OSError as error:
            raise ScreenError(f"{path}: {_why(error)}") from None
        try:
            self.geometry = geometry or _geometry(self._descriptor)
        except ScreenError as error:
            self.close()
            raise ScreenError(f"{path}: {error}") from None
        self._path = path

    def show(self, scene: Scene) -> None:
        """Draw a scene of its size. Raises `ScreenError`."""
        geometry = self.geometry
        try:
            octets = packed(png.picture(scene).tobytes(), geometry)
        except png.PillowMissingError as error:
            raise ScreenError(str(error)) from None
        line = geometry.width * geometry.pixel_octets
        try:
            for row in range(geometry.height):
                self._write(octets[row * line : (row + 1) * line], geometry.start + row * geometry.line_octets)
        except OSError as error:
            raise ScreenError(f"{self._path}: {_why(error)}") from None

    def close(self) -> None:
        """Let go of it."""
        os.close(self._descriptor)

    def _write(self, octets: bytes, place: int) -> None:
        while octets:
            written = os.pwrite(self._descriptor, octets, place)
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
    kept = (value >> (8 - field.length) if field.length <= 8 else value << (field.length - 8) for value in range(256))  # noqa: PLR2004 - the bits of an octet
    return bytes((value << field.offset >> shift) & 0xFF for value in kept)


def _geometry(descriptor: int) -> Geometry:
    """What the kernel says of it. Raises `ScreenError`."""
    variable, fixed = bytearray(_VARIABLE.size), bytearray(_FIXED.size)
    try:
        fcntl.ioctl(descriptor, _GET_VARIABLE, variable)
        fcntl.ioctl(descriptor, _GET_FIXED, fixed)
    except OSError:
        raise ScreenError("is no framebuffer: `ls /dev/fb*` shows those that there are") from None
    return read_geometry(bytes(variable), bytes(fixed))


def read_geometry(variable: bytes, fixed: bytes) -> Geometry:
    """The geometry in both of the kernel's structures. Raises `ScreenError` where nothing can be drawn so."""
    width, height, _, _, left, top, bits, grey, *rest = _VARIABLE.unpack(variable)
    fields = [BitField(offset, length) for offset, length in zip(rest[0:12:3], rest[1:12:3], strict=True)]
    not_standard = rest[12]
    _, _, _, kind, _, visual, *_ = _FIXED.unpack(fixed)
    line_octets = _FIXED.unpack(fixed)[9]
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
