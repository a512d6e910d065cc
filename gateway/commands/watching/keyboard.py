"""The keys of a watch: read as they are pressed, for as long as the event loop runs."""

import asyncio
import os
import sys

from gateway.commands.watching.face import Face, keys_in, quits, turned

_MOST_OCTETS = 64


class Keyboard:
    """What its keys have chosen."""

    def __init__(self, changed: asyncio.Event) -> None:
        """`changed` is set when something else is to be shown. The task that makes it ends when somebody quits."""
        self.face = Face.OVERVIEW
        self._changed = changed
        self._watch = asyncio.current_task()

    def listen(self) -> None:
        """Begin to heed them."""
        asyncio.get_running_loop().add_reader(sys.stdin.fileno(), self._read)

    def _read(self) -> None:
        try:
            octets = os.read(sys.stdin.fileno(), _MOST_OCTETS)
        except OSError:
            octets = b""
        if not octets:  # the terminal is gone
            asyncio.get_running_loop().remove_reader(sys.stdin.fileno())
        for key in keys_in(octets):
            if quits(key) and self._watch is not None:
                self._watch.cancel()
            self.face = turned(self.face, key)
        self._changed.set()
