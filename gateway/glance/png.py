"""A scene as pixels, and as PNG: drawn by Pillow, in the font that it carries. It needs the extra `panel`."""

import io
from functools import lru_cache
from typing import TYPE_CHECKING

from gateway.glance.lettering import ASCENT, LINE
from gateway.glance.scene import Ink, Lettering, Scene
from gateway.groundwork.extras import adding

if TYPE_CHECKING:
    from PIL.Image import Image
    from PIL.ImageDraw import ImageDraw
    from PIL.ImageFont import FreeTypeFont

CONTENT_TYPE = "image/png"
MISSING = f"pictures of pixels need Pillow, which is not installed: {adding('panel')}"

_SMALLER = 0.96
"""By this much letters shrink whose real width, rounded to whole pixels, is more than was reckoned."""

_SMALLEST = 4.0


class PillowMissingError(Exception):
    """Pillow is not installed, or has no FreeType. The words say what to do."""


def picture(scene: Scene) -> "Image":
    """The picture in red, green and blue; with two colours, in these two alone. Raises `PillowMissingError`."""
    try:
        from PIL import Image, ImageDraw, features  # noqa: PLC0415 - an extra
    except ImportError:
        raise PillowMissingError(MISSING) from None
    if not features.check("freetype2"):
        raise PillowMissingError("this Pillow was built without FreeType: install the one that pip brings")
    canvas = scene.canvas
    image = Image.new("RGB", (canvas.width, canvas.height), canvas.colour(Ink.GROUND))
    drawing = ImageDraw.Draw(image)
    if canvas.colours == "2":
        drawing.fontmode = "1"  # no edge of a letter is grey
    for box in scene.boxes:
        corner = (box.left + box.width - 1, box.top + box.height - 1)
        drawing.rectangle(((box.left, box.top), corner), canvas.colour(box.ink))
    for text in scene.letterings:
        _write(drawing, text, canvas.colour(text.ink))
    return image


def draw(scene: Scene) -> bytes:
    """The PNG file; with two colours, of one bit a pixel. Raises `PillowMissingError`."""
    image = picture(scene)
    if scene.canvas.colours == "2":
        image = image.convert("1")
    file = io.BytesIO()
    image.save(file, "PNG")
    return file.getvalue()


def _write(drawing: "ImageDraw", text: Lettering, colour: tuple[int, int, int]) -> None:
    size = text.size
    while (length := _font(size).getlength(text.text, drawing.fontmode)) > text.width and size > _SMALLEST:
        size *= _SMALLER
    left = text.left + text.width - length if text.right else text.left
    baseline = text.top + (text.height - LINE * size) / 2 + ASCENT * size
    drawing.text((round(left), round(baseline)), text.text, fill=colour, font=_font(size), anchor="ls")


@lru_cache(maxsize=64)
def _font(size: float) -> "FreeTypeFont":
    from PIL import ImageFont  # noqa: PLC0415 - an extra

    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont)  # noqa: S101 - it is, where there is FreeType
    return font
