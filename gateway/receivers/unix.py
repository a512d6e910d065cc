"""Connections to a decoder over a stream socket in the file system."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.receivers.address import UnixSocket
from gateway.receivers.receiver import READ_OCTETS


@asynccontextmanager
async def connection(place: UnixSocket) -> AsyncIterator[asyncio.StreamReader]:
    """A new connection to the socket at `place`. Raises `OSError`."""
    reader, writer = await asyncio.open_unix_connection(place.path, limit=READ_OCTETS)
    try:
        yield reader
    finally:
        writer.transport.abort()  # nothing was written that could wait to be sent
