"""A scene as SVG 1.1: text that stays text, in letters of the viewer's own, held to the room that they have."""

from xml.sax.saxutils import escape, quoteattr

from gateway.glance import lettering
from gateway.glance.scene import Box, Ink, Lettering, Scene

CONTENT_TYPE = "image/svg+xml"


def draw(scene: Scene) -> str:
    """The document. It holds no script, and asks for nothing from anywhere."""
    canvas = scene.canvas
    body = [
        f'<rect width="{canvas.width}" height="{canvas.height}" fill="{_colour(scene, Ink.GROUND)}"/>',
        *(_rectangle(scene, box) for box in scene.boxes),
        *(_text(scene, text) for text in scene.letterings),
    ]
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{canvas.width}" height="{canvas.height}" '
        f'viewBox="0 0 {canvas.width} {canvas.height}" role="img" aria-label={quoteattr(_proper(scene.says))} '
        'font-family="sans-serif">' + "".join(body) + "</svg>\n"
    )


def _rectangle(scene: Scene, box: Box) -> str:
    place = f'x="{box.left}" y="{box.top}" width="{box.width}" height="{box.height}"'
    return f'<rect {place} fill="{_colour(scene, box.ink)}"/>'


def _text(scene: Scene, text: Lettering) -> str:
    """Told how long it is, so that another font than the one it was measured in keeps within its room."""
    baseline = text.top + (text.height - lettering.LINE * text.size) / 2 + lettering.ASCENT * text.size
    anchor = ' text-anchor="end"' if text.right else ""
    left = text.left + text.width if text.right else text.left
    length = lettering.width(text.text, text.size)
    return (
        f'<text x="{left}" y="{baseline:.1f}" font-size="{text.size:g}" fill="{_colour(scene, text.ink)}"{anchor} '
        f'textLength="{length:.1f}" lengthAdjust="spacingAndGlyphs">{escape(text.text)}</text>'
    )


def _proper(text: str) -> str:
    """Without what XML has no character for (XML 1.0 section 2.2): it is spoken, and need not be drawn."""
    return "".join(one if one.isprintable() else " " for one in text)


def _colour(scene: Scene, ink: Ink) -> str:
    return "#{:02x}{:02x}{:02x}".format(*scene.canvas.colour(ink))
