"""The screen that `stile panel` was asked for."""

import contextlib
from collections.abc import Iterator
from pathlib import Path

from gateway.commands.panel.framebuffer import framebuffer
from gateway.commands.panel.picture_file import picture_file
from gateway.commands.panel.screen import Screen
from gateway.commands.usage import AskedWronglyError
from gateway.glance.scene import SIZES, Canvas, Colours, Ground

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
        yield picture_file(file, canvas)
