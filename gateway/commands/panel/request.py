"""What was asked of `stile panel`, and the screen that it means."""

import contextlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from gateway.commands.panel.framebuffer import framebuffer
from gateway.commands.panel.picture_file import picture_file
from gateway.commands.panel.screen import Screen
from gateway.glance.scene import SIZES, Canvas, Colours, Ground

USUAL_WIDTH, USUAL_HEIGHT = 320, 240


@dataclass(frozen=True, slots=True)
class PanelRequest:
    """A framebuffer or a file, and what the picture is to be like."""

    device: Path | None
    file: Path | None
    width: int | None
    height: int | None
    colours: Colours
    ground: Ground

    @property
    def misuse(self) -> str | None:
        """What cannot be asked for so; None: nothing."""
        if self.device is not None and (self.width or self.height):
            return "a framebuffer has a size of its own: leave --width and --height out"
        if not self._canvas.can_be_drawn:
            return f"--width and --height: {SIZES} can be drawn"
        return None

    @contextlib.contextmanager
    def opened(self) -> Iterator[Screen]:
        """The screen, for a block. Raises `ScreenError`."""
        if self.device is not None:
            with framebuffer(self.device, self.colours, self.ground) as screen:
                yield screen
        else:
            assert self.file is not None  # noqa: S101 - one of both is asked for
            yield picture_file(self.file, self._canvas)

    @property
    def _canvas(self) -> Canvas:
        width = USUAL_WIDTH if self.width is None else self.width
        height = USUAL_HEIGHT if self.height is None else self.height
        return Canvas(width, height, self.colours, self.ground)
