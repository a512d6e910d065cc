"""From the name of a host to its addresses, and to a connected socket, without holding up a stop."""

import asyncio
import errno
import socket
from collections.abc import Callable, Sequence

from gateway.groundwork.own_thread import in_own_thread

MAXIMUM_ADDRESSES = 8
"""How many addresses of one name are of use."""

Endpoint = tuple[socket.AddressFamily, tuple[str | int | bytes, ...]]
"""A family, and an address as sockets of that family take it: its first two are always host and port."""


def address_of(host: str, port: int) -> str:
    """Both as an address is written: one of IPv6 stands in brackets (RFC 3986 section 3.2.2)."""
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"


async def look_up(host: str, port: int, kind: socket.SocketKind = socket.SOCK_STREAM) -> list[Endpoint]:
    """The addresses of `host` for sockets of `kind`, at least one, asked of the system anew.

    Raises `OSError`, or `UnicodeError` where the name is no name.
    """
    answers = await in_own_thread(socket.getaddrinfo, host, port, type=kind)
    if not answers:
        raise OSError(errno.EHOSTUNREACH, "the host has no address")
    return [(family, address) for family, _, _, _, address in answers[:MAXIMUM_ADDRESSES]]


async def connect(
    endpoints: Sequence[Endpoint], *, seconds: float, prepare: Callable[[socket.socket], None]
) -> socket.socket:
    """A socket connected to the first of `endpoints` that answers; each may take `seconds`.

    `prepare` sets its options beforehand. Raises the last one's `OSError` where none answers.
    """
    failure: OSError | None = None
    for family, address in endpoints:
        connecting = socket.socket(family, socket.SOCK_STREAM)
        try:
            connecting.setblocking(False)
            prepare(connecting)
            async with asyncio.timeout(seconds):
                await asyncio.get_running_loop().sock_connect(connecting, address)
        except OSError as error:
            connecting.close()
            failure = error
        except BaseException:
            connecting.close()
            raise
        else:
            return connecting
    raise failure or OSError(errno.EHOSTUNREACH, "the host has no address")
