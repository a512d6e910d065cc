"""From a server's name to a connected socket: the name is looked up anew each time (IS-Connect names whole pools)."""

import asyncio
import os
import socket
from functools import partial

from gateway.groundwork import hosts
from gateway.uplink import tcp


class DialError(Exception):
    """No connection came about; the message says why."""


async def dial(
    host: str, port: int, *, seconds: float, send_buffer_octets: int, unacknowledged_ms: int
) -> socket.socket:
    """A socket connected to `port` of `host`, prepared as `tcp.prepare` says. Raises `DialError`.

    The look-up, and then each address of the host in turn, may take `seconds`.
    """
    try:
        async with asyncio.timeout(seconds):
            endpoints = await hosts.look_up(host, port)
    except (OSError, UnicodeError) as error:
        why = "it is no host name" if isinstance(error, UnicodeError) else error.strerror
        raise DialError(f"cannot find the host: {why or _no_answer(seconds)}") from None
    prepare = partial(tcp.prepare, send_buffer_octets=send_buffer_octets, unacknowledged_ms=unacknowledged_ms)
    try:
        return await hosts.connect(endpoints, seconds=seconds, prepare=prepare)
    except OSError as error:  # asyncio's own text names the address only; its time-out has no number at all
        why = os.strerror(error.errno) if error.errno else _no_answer(seconds)
        raise DialError(f"cannot connect: {why}") from None


def _no_answer(seconds: float) -> str:
    return f"no answer within {seconds:g} s"
