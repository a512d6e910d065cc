"""Connections to a decoder over TCP."""

import asyncio
import socket
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.receivers.address import HostPort
from gateway.receivers.names import Endpoint, look_up
from gateway.receivers.receiver import READ_OCTETS

_SECONDS_AN_ADDRESS = 4.0
"""A host may have several addresses: one that never answers leaves time for the next."""

# A quiet band and a dead host look the same: after a minute and a half without an answer the connection is given up.
_KEEP_ALIVE = {"TCP_KEEPIDLE": 30, "TCP_KEEPINTVL": 20, "TCP_KEEPCNT": 3}


@asynccontextmanager
async def connection(place: HostPort) -> AsyncIterator[asyncio.StreamReader]:
    """A new connection to `place`, whose name is looked up anew each time. Raises `OSError` or `UnicodeError`."""
    connected = await _connect(await look_up(place, socket.SOCK_STREAM))
    _keep_alive(connected)
    reader, writer = await asyncio.open_connection(sock=connected, limit=READ_OCTETS)
    try:
        yield reader
    finally:
        writer.transport.abort()  # nothing was written that could wait to be sent


async def _connect(endpoints: list[Endpoint]) -> socket.socket:
    """A socket connected to the first of `endpoints` that answers; raises the last one's `OSError` where none does."""
    errors: list[OSError] = []
    for family, address in endpoints:
        connecting = socket.socket(family, socket.SOCK_STREAM)
        try:
            connecting.setblocking(False)
            async with asyncio.timeout(_SECONDS_AN_ADDRESS):
                await asyncio.get_running_loop().sock_connect(connecting, address)
        except OSError as error:
            connecting.close()
            errors.append(error)
        except BaseException:
            connecting.close()
            raise
        else:
            return connecting
    raise errors[-1]


def _keep_alive(connected: socket.socket) -> None:
    connected.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for name, value in _KEEP_ALIVE.items():
        option = getattr(socket, name, None)  # not every system has all of them
        if option is not None:
            connected.setsockopt(socket.IPPROTO_TCP, option, value)
