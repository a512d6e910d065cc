"""From a server's name to a connected socket: the name is looked up anew each time (IS-Connect names whole pools)."""

import asyncio
import contextlib
import os
import socket
import threading
from typing import Any

from gateway.uplink import tcp

MAXIMUM_ADDRESSES = 8
"""How many addresses of one name are tried."""

_Address = tuple[Any, ...]  # each family has its own kind
_Endpoint = tuple[socket.AddressFamily, _Address]


class DialError(Exception):
    """No connection came about; the message says why."""


async def dial(
    host: str, port: int, *, seconds: float, send_buffer_octets: int, unacknowledged_ms: int
) -> socket.socket:
    """A socket connected to `port` of `host`, prepared as `tcp.prepare` says. Raises `DialError`.

    The look-up, and then each address of the host in turn, may take `seconds`.
    """
    why = "the name has no address"
    for family, address in (await _look_up(host, port, seconds))[:MAXIMUM_ADDRESSES]:
        try:
            async with asyncio.timeout(seconds):
                return await _connected(family, address, send_buffer_octets, unacknowledged_ms)
        except OSError as error:  # asyncio's own text names the address only; its time-out has no number at all
            why = os.strerror(error.errno) if error.errno else f"no answer within {seconds:g} s"
    raise DialError(f"cannot connect: {why}")


async def _connected(
    family: socket.AddressFamily, address: _Address, send_buffer_octets: int, unacknowledged_ms: int
) -> socket.socket:
    sock = socket.socket(family, socket.SOCK_STREAM)
    try:
        sock.setblocking(False)
        tcp.prepare(sock, send_buffer_octets=send_buffer_octets, unacknowledged_ms=unacknowledged_ms)
        await asyncio.get_running_loop().sock_connect(sock, address)
    except BaseException:
        sock.close()
        raise
    return sock


async def _look_up(host: str, port: int, seconds: float) -> list[_Endpoint]:
    """Ask the resolver in a thread that nobody waits for at the end.

    A resolver that hangs cannot be cancelled, and the event loop's own threads are joined when it closes: a stop would
    wait for the resolver's last time-out. Hung threads end by themselves then, so there are never many.
    """
    loop = asyncio.get_running_loop()
    found: asyncio.Future[list[_Endpoint]] = loop.create_future()

    def settle(addresses: list[_Endpoint], error: Exception | None) -> None:
        if found.done():
            return
        if error is None:
            found.set_result(addresses)
        else:
            found.set_exception(error)

    def look_up() -> None:
        addresses: list[_Endpoint] = []
        failure: Exception | None = None
        try:
            answers = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)
            addresses = [(family, address) for family, _, _, _, address in answers]
        except (OSError, UnicodeError) as error:  # a name that is no name fails in its encoding
            reason = error.strerror if isinstance(error, OSError) else "it is no host name"
            failure = DialError(f"cannot find the host: {reason}")
        with contextlib.suppress(RuntimeError):  # the loop closed in the meantime: nobody asks any more
            loop.call_soon_threadsafe(settle, addresses, failure)

    threading.Thread(target=look_up, name="name-look-up", daemon=True).start()
    try:
        async with asyncio.timeout(seconds):
            return await found
    except TimeoutError:
        raise DialError(f"cannot find the host: no answer within {seconds:g} s") from None
