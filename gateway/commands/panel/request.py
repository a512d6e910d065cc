"""The screen that `stile panel` was asked for: a framebuffer, or a picture in a file.

Whoever reads the file sees the picture whole: it is written beside it and takes its place.
"""

import contextlib
import os
from collections.abc import Iterator
from functools import partial
from pathlib import Path

from gateway.commands.panel.framebuffer import framebuffer
from gateway.commands.panel.screen import Screen, ScreenError
from gateway.commands.usage import AskedWronglyError
from gateway.glance import png, svg
from gateway.glance.scene import SIZES, Canvas, Colours, Ground, Scene

SUFFIXES = (".png", ".svg")
USUAL_WIDTH, USUAL_HEIGHT = 320, 240


@contextlib.contextmanager
def opened(
    device: Path | None, file: Path | None, size: tuple[int | None, int | None], colours: Colours, ground: Ground
) -> Iterator[Screen]:
    """A framebuffer or a file, one of which is given, for a block; a file's picture is of `size`, in pixels.

    Raises `AskedWronglyError` and `ScreenError`.
    """
    width, height = size
    if device is not None:
        if width or height:
            raise AskedWronglyError("a framebuffer has a size of its own: leave --width and --height out")
        with framebuffer(device, colours, ground) as screen:
            yield screen
    elif file is not None:
        width = USUAL_WIDTH if width is None else width
        height = USUAL_HEIGHT if height is None else height
        canvas = Canvas(width, height, colours, ground)
        if not canvas.can_be_drawn:
            raise AskedWronglyError(f"--width and --height: {SIZES} can be drawn")
        yield _picture_file(file, canvas)


def _picture_file(path: Path, canvas: Canvas) -> Screen:
    """A file whose suffix says what is written, pixels or SVG. Raises `ScreenError` where it says neither."""
    if path.suffix not in SUFFIXES:
        raise ScreenError(f"{path}: let the name end in {' or '.join(SUFFIXES)}: that says what is written")
    return Screen(canvas, partial(_write, path))


def _write(path: Path, scene: Scene) -> None:
    try:
        octets = png.draw(scene) if path.suffix == ".png" else svg.draw(scene).encode("utf-8")
    except png.PillowMissingError as error:
        raise ScreenError(str(error)) from None
    beside = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        beside.write_bytes(octets)
        beside.replace(path)
    except OSError as error:
        with contextlib.suppress(OSError):
            beside.unlink()
        raise ScreenError(f"{path}: {error.strerror or 'cannot be written'}") from None
