"""An address as a QR code, for a phone's camera: in half blocks, two rows of it to a line (extra: phone)."""

from collections.abc import Iterator

_QUIET = 4
"""Light modules around it (ISO/IEC 18004 section 6.3.8)."""

_BLOCKS = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
"""By the upper and the lower module, 1 for dark: terminals are dark as a rule, so what is light is drawn."""


def qr_code(address: str) -> Iterator[str]:
    """The lines of the code; none where the library for it is not installed."""
    try:
        import segno  # noqa: PLC0415 - it is an extra, and need not be there
    except ImportError:
        return
    rows = [[*row] for row in segno.make(address, micro=False).matrix_iter(border=_QUIET)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        yield "".join(_BLOCKS[bool(above), bool(below)] for above, below in zip(upper, lower, strict=True))
