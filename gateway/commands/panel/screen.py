"""What `stile panel` draws on, as a value; and the error of one that cannot be drawn on."""

from collections.abc import Callable
from dataclasses import dataclass

from gateway.commands.usage import CommandError
from gateway.glance.scene import Canvas, Scene


class ScreenError(CommandError):
    """It cannot be drawn on. The words say why, and what to do."""


@dataclass(frozen=True, slots=True)
class Screen:
    """Where a picture goes."""

    canvas: Canvas
    show: Callable[[Scene], None]
    """Draws a scene that was made for its canvas. May block. Raises `ScreenError`."""
