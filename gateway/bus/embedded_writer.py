"""What the embedded broker writes to a client, bounded (extra: broker).

The broker starts a task for each message and lets it wait until the client reads: behind one that stopped, they pile up
without end, each with its message. So none waits here, and what the client has not read is held to a size.
"""

import asyncio

from amqtt.adapters import StreamWriterAdapter  # type: ignore[import-untyped] # it comes without types

MAXIMUM_UNREAD_OCTETS = 16 * 1024 * 1024
"""What may wait for one client: a client that is so far behind reads no longer.

Whoever subscribes gets all that is retained at once: 5,000 stations of 2 kB are 10 MB.
"""


class BoundedWriter(StreamWriterAdapter):  # type: ignore[misc] # see above
    """Lets go of a client that stopped reading."""

    def __init__(self, writer: asyncio.StreamWriter) -> None:
        super().__init__(writer)
        self._transport = writer.transport

    def write(self, data: bytes) -> None:
        """Hand over octets for the client, or end its connection where too many wait already."""
        if self._transport.is_closing():
            return
        if self._transport.get_write_buffer_size() + len(data) > MAXIMUM_UNREAD_OCTETS:
            self._transport.abort()
        else:
            super().write(data)

    async def drain(self) -> None:
        """Wait for nobody."""
