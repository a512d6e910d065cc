"""A picture in a file, which whoever reads it sees whole: it is written beside it and takes its place."""

import contextlib
import os
from functools import partial
from pathlib import Path

from gateway.commands.panel.screen import Screen, ScreenError
from gateway.glance import png, svg
from gateway.glance.scene import Canvas, Scene

SUFFIXES = (".png", ".svg")


def picture_file(path: Path, canvas: Canvas) -> Screen:
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
