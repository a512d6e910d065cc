"""One program that is connected to the text port: lines go to it, and what it says is thrown away."""

import asyncio
from collections.abc import Callable
from typing import cast

READ_OCTETS = 1024
READ_PAUSE_SECONDS = 0.1
"""After each read: nothing that a client says is worth more than ten reads a second."""


class LineClient(asyncio.BufferedProtocol):
    """One connection. It never holds more than its limit and the one batch that went beyond it."""

    def __init__(
        self,
        limit_octets: int,
        on_made: Callable[["LineClient"], bool],
        on_lost: Callable[["LineClient"], None],
    ) -> None:
        """`on_made` hears that it is connected, and says whether there is room; `on_lost`, that it is gone."""
        self.ended = asyncio.Event()
        self._limit = limit_octets
        self._on_made = on_made
        self._on_lost = on_lost
        self._transport: asyncio.Transport | None = None
        self._scratch = bytearray(READ_OCTETS)
        self._reading_again: asyncio.TimerHandle | None = None

    def write(self, lines: bytes) -> bool:
        """Hand over whole lines. False: more waits now than may, for the client does not read."""
        transport = self._transport
        if transport is None or transport.is_closing():
            return True
        transport.write(lines)
        return transport.get_write_buffer_size() <= self._limit

    def close(self) -> None:
        """Take leave: what was handed over still goes."""
        if self._transport is not None:
            self._transport.close()

    def abort(self) -> None:
        """Cut the connection off."""
        if self._transport is not None:
            self._transport.abort()

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Someone has connected."""
        self._transport = cast("asyncio.Transport", transport)
        if not self._on_made(self):
            self._transport.close()

    def get_buffer(self, _sizehint: int) -> bytearray:
        """Where the next octets go: over the last ones."""
        return self._scratch

    def buffer_updated(self, _octets: int) -> None:
        """The client said something. Nobody listens, and not all the time."""
        if self._transport is not None:
            self._transport.pause_reading()
            loop = asyncio.get_running_loop()
            self._reading_again = loop.call_later(READ_PAUSE_SECONDS, self._transport.resume_reading)

    def connection_lost(self, _error: Exception | None) -> None:
        """The connection is over, by whose will soever."""
        if self._reading_again is not None:
            self._reading_again.cancel()
        self._transport = None
        self.ended.set()
        self._on_lost(self)
