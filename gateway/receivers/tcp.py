"""Connections to a decoder over TCP."""

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.groundwork.hosts import connect, look_up
from gateway.receivers.address import HostPort
from gateway.receivers.receiver import READ_OCTETS

_SECONDS_AN_ADDRESS = 4.0
"""A host may have several addresses: one that never answers leaves time for the next."""

# A quiet band and a dead host look the same: after a minute and a half without an answer the connection is given up.
_KEEP_ALIVE = {"TCP_KEEPIDLE": 30, "TCP_KEEPINTVL": 20, "TCP_KEEPCNT": 3}


@asynccontextmanager
async def connection(place: HostPort) -> AsyncIterator[asyncio.StreamReader]:
    """A new connection to `place`, whose name is looked up anew each time. Raises `OSError` or `UnicodeError`."""
    endpoints = await look_up(place.host, place.port)
    connected = await connect(endpoints, seconds=_SECONDS_AN_ADDRESS, prepare=_keep_alive)
    reader, writer = await asyncio.open_connection(sock=connected, limit=READ_OCTETS)
    try:
        yield reader
    finally:
        writer.transport.abort()  # nothing was written that could wait to be sent


def _keep_alive(connecting: socket.socket) -> None:
    connecting.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in _KEEP_ALIVE.items():
        option = getattr(socket, name, None)  # not every system has all of them
        if option is not None:
            connecting.setsockopt(socket.IPPROTO_TCP, option, value)
