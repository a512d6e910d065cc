"""A terminal that is drawn on: a screen of its own while it lasts, and everything as it was afterwards.

The sequences are those of ECMA-48 and, for the second screen, the cursor and the line wrap, the private modes that
terminals share (common practice).
"""

import contextlib
import os
import sys
import termios
from collections.abc import Sequence
from typing import Any, Self, TextIO

from gateway.commands.watching.screen import Emphasis, ScreenLine

_ENTER = "\x1b[?1049h\x1b[?25l\x1b[?7l\x1b[2J"
_LEAVE = "\x1b[0m\x1b[?7h\x1b[?25h\x1b[?1049l"
_MARKS = {Emphasis.PLAIN: "", Emphasis.STRONG: "\x1b[1m", Emphasis.URGENT: "\x1b[7m"}

USUAL_SIZE = os.terminal_size((80, 24))


def can_draw(out: TextIO, kind: str) -> bool:
    """Whether `out` is a terminal that can be drawn on, `kind` being the variable TERM."""
    return out.isatty() and kind not in {"", "dumb"}


class Terminal:
    """The terminal, `with` which it is drawn on."""

    def __init__(self, out: TextIO) -> None:
        self._out = out
        self._drawn: list[str] = []
        self._size = USUAL_SIZE
        self._modes: list[Any] | None = None

    @property
    def size(self) -> os.terminal_size:
        """Columns and lines now; a serial line knows none, then the usual ones."""
        try:
            size = os.get_terminal_size(self._out.fileno())
        except OSError:
            return USUAL_SIZE
        return size if min(size) > 0 else USUAL_SIZE

    def __enter__(self) -> Self:
        self.enter()
        return self

    def __exit__(self, *_: object) -> None:
        self.leave()

    @property
    def has_keys(self) -> bool:
        """Whether somebody can type on it."""
        return self._modes is not None

    def enter(self) -> None:
        """Begin to draw."""
        with contextlib.suppress(termios.error, ValueError, TypeError):  # the input may be something else, or closed
            self._modes = termios.tcgetattr(sys.stdin)
            quiet = [*self._modes]
            # What is typed would stand in the middle of the screen; and a key is read without the one that ends a line.
            quiet[3] &= ~(termios.ECHO | termios.ICANON)
            termios.tcsetattr(sys.stdin, termios.TCSANOW, quiet)
        self._drawn = []
        self._write(_ENTER)

    def leave(self) -> None:
        """Leave the terminal as it was."""
        with contextlib.suppress(OSError):  # it may be gone
            self._write(_LEAVE)
        if self._modes is not None:
            with contextlib.suppress(termios.error, ValueError):
                termios.tcsetattr(sys.stdin, termios.TCSAFLUSH, self._modes)

    def draw(self, lines: Sequence[ScreenLine]) -> None:
        """Show these lines, from the top; only those that changed are written. Raises `OSError` where it is gone."""
        size = self.size
        pieces = []
        if size != self._size:
            self._size, self._drawn = size, []
            pieces.append("\x1b[2J")
        rows = [f"{_MARKS[line.emphasis]}{line.text}\x1b[0m" for line in lines[: size.lines]]
        rows += [""] * (len(self._drawn) - len(rows))
        for place, row in enumerate(rows):
            if place >= len(self._drawn) or self._drawn[place] != row:
                pieces.append(f"\x1b[{place + 1};1H\x1b[K{row}")
        self._drawn = rows
        if pieces:
            self._write("".join(pieces))

    def _write(self, text: str) -> None:
        self._out.write(text)
        self._out.flush()
