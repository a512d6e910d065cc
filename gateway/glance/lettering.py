"""How wide a text is, and which wording of it fits: known without a font at hand. Pure.

The widths are those of the font that Pillow carries (Aileron Regular, public domain), so that what is laid out here
fits when that font draws it. A viewer that draws an SVG with another font is told the width, and squeezes its letters.
"""

import unicodedata
from collections.abc import Sequence

Wordings = Sequence[str]
"""One thing said at several lengths, the longest first."""

LINE = 1.2
"""The height of a line, in sizes of its letters; the font's own, ascent and descent."""

ASCENT = 0.97

ELLIPSIS = "…"

_FIRST = " "
_WIDTHS = (
    216, 242, 339, 580, 580, 740, 654, 176, 315, 315, 560, 580, 220, 274, 220, 303,
    580, 580, 580, 580, 580, 580, 580, 580, 580, 580, 220, 220, 580, 580, 580, 499,
    852, 639, 627, 699, 709, 587, 567, 710, 730, 264, 544, 609, 575, 866, 718, 737,
    598, 733, 619, 585, 612, 682, 622, 952, 625, 581, 591, 307, 303, 295, 580, 500,
    300, 531, 611, 529, 615, 549, 290, 615, 593, 238, 233, 522, 247, 855, 593, 586,
    611, 615, 330, 459, 313, 592, 514, 785, 482, 513, 462, 303, 250, 303, 580,
)  # fmt: skip
"""Of every printable character of ASCII, in thousandths of the size."""

_WIDTH_OF = {chr(ord(_FIRST) + place): width for place, width in enumerate(_WIDTHS)}
_WIDTH_OF |= {"°": 298, "·": 202, ELLIPSIS: 620}
_UNKNOWN = "?"


def drawable(text: str) -> str:
    """`text` in the letters that can be drawn: accents go, and what is left stands as a question mark."""
    if text.isascii() and text.isprintable():
        return text
    pieces = (one if one in _WIDTH_OF else unicodedata.normalize("NFKD", one) for one in text)
    letters = (one for one in "".join(pieces) if not unicodedata.combining(one))
    return "".join(one if one in _WIDTH_OF else _UNKNOWN for one in letters)


def width(text: str, size: float) -> float:
    """How wide a text that is `drawable` is in letters of this size, both in pixels."""
    return sum(_WIDTH_OF[one] for one in text) * size / 1000


def fitted(wordings: Wordings, room: float, sizes: tuple[float, float], least: float) -> tuple[str, float]:
    """A wording and the size at which it fits into `room` pixels.

    The longest that fits at the first of the sizes or at any between them, as large as it goes. If none does, the last,
    smaller than that; and where it would be smaller than `least`, cut.
    """
    largest, smallest = sizes
    texts = [drawable(wording) for wording in wordings if wording] or [""]
    for text in texts:
        if width(text, smallest) <= room:
            return text, min(largest, room / max(width(text, 1), 0.01))
    text = texts[-1]
    size = max(least, 0.999 * room / width(text, 1))  # a little less: the sum of many widths is not exact
    return cut(text, room, size), size


def pair(first: Wordings, last: Wordings, room: float, size: float) -> tuple[str, str]:
    """Wordings of two things that fit into one line at this size: the first goes before the second in being long.

    The shortest of both where none fit.
    """
    texts = [drawable(wording) for wording in first if wording] or [""]
    ends = [drawable(wording) for wording in last if wording] or [""]
    both = ((text, tail) for text in texts for tail in ends if width(text + tail, size) <= room)
    return next(both, (texts[-1], ends[-1]))


def cut(text: str, room: float, size: float) -> str:
    """As much of a `drawable` text as fits, an ellipsis for the rest."""
    if width(text, size) <= room:
        return text
    while text and width(text + ELLIPSIS, size) > room:
        text = text[:-1]
    return f"{text.rstrip()}{ELLIPSIS}" if width(ELLIPSIS, size) <= room else ""


def wrapped(text: str, room: float, size: float, most: int) -> list[str]:
    """At most so many lines of a text, broken at its spaces; what is left over is cut."""
    lines: list[str] = []
    words = drawable(text).split()
    while words and len(lines) < most - 1:
        taken = 1
        while taken < len(words) and width(" ".join(words[: taken + 1]), size) <= room:
            taken += 1
        lines.append(cut(" ".join(words[:taken]), room, size))
        words = words[taken:]
    if words:
        lines.append(cut(" ".join(words), room, size))
    return lines
