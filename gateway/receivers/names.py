"""From the name of a host to its addresses, without holding up a stop."""

import asyncio
import errno
import socket
import threading
from concurrent.futures import Future

from gateway.receivers.address import HostPort

MAXIMUM_ADDRESSES = 8
"""How many addresses of one name are of use."""

Endpoint = tuple[socket.AddressFamily, tuple[str | int | bytes, ...]]
"""A family, and an address as sockets of that family take it: its first two are always host and port."""


async def look_up(place: HostPort, kind: socket.SocketKind) -> list[Endpoint]:
    """The addresses of `place` for sockets of `kind`, at least one, asked of the system anew.

    Raises `OSError` or `UnicodeError`.

    The asking cannot be cancelled, and the event loop waits at its end for the threads of its own. So a thread is
    taken that nobody waits for: it ends when the system's resolver gives up, which bounds how many there are.
    """
    answer: Future[list[Endpoint]] = Future()
    answer.set_running_or_notify_cancel()

    def ask() -> None:
        try:
            found = socket.getaddrinfo(place.host, place.port, type=kind)
        except (OSError, UnicodeError) as error:
            answer.set_exception(error)
        else:
            answer.set_result([(family, address) for family, _, _, _, address in found[:MAXIMUM_ADDRESSES]])

    threading.Thread(target=ask, name="name look-up", daemon=True).start()
    endpoints = await asyncio.wrap_future(answer)
    if not endpoints:
        raise OSError(errno.EHOSTUNREACH, "the host has no address")
    return endpoints
