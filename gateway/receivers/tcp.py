"""Connections to a decoder over TCP."""

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.receivers.address import HostPort
from gateway.receivers.receiver import READ_OCTETS

# A quiet band and a dead host look the same: after a minute and a half without an answer the connection is given up.
_KEEP_ALIVE = {"TCP_KEEPIDLE": 30, "TCP_KEEPINTVL": 20, "TCP_KEEPCNT": 3}


@asynccontextmanager
async def connection(place: HostPort) -> AsyncIterator[asyncio.StreamReader]:
    """A new connection to `place`, whose name is resolved anew each time. Raises `OSError` or `UnicodeError`."""
    reader, writer = await asyncio.open_connection(place.host, place.port, limit=READ_OCTETS)
    try:
        _keep_alive(writer.get_extra_info("socket"))
        yield reader
    finally:
        writer.transport.abort()  # nothing was written that could wait to be sent


def _keep_alive(connected: socket.socket) -> None:
    connected.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in _KEEP_ALIVE.items():
        option = getattr(socket, name, None)  # not every system has all of them
        if option is not None:
            connected.setsockopt(socket.IPPROTO_TCP, option, value)
