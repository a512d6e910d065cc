"""A port of this computer: whether it can be listened at."""

import errno
import os
import socket
from enum import StrEnum

from gateway.groundwork.hosts import look_up


class PortFound(StrEnum):
    """What stands in the way."""

    FREE = "free"
    TAKEN = "taken"
    NO_ADDRESS = "no address of this computer"
    NOT_ALLOWED = "not allowed"
    OTHER = "other"


_BY_NUMBER = {
    errno.EADDRINUSE: PortFound.TAKEN,
    errno.EADDRNOTAVAIL: PortFound.NO_ADDRESS,
    errno.EACCES: PortFound.NOT_ALLOWED,
    errno.EPERM: PortFound.NOT_ALLOWED,
}


async def try_port(kind: str, host: str, port: int) -> tuple[PortFound, str]:
    """Whether the port of `kind` (`tcp` or `udp`) could be had, and what the system said where not."""
    stream = kind == "tcp"
    try:
        endpoints = await look_up(host, port, socket.SOCK_STREAM if stream else socket.SOCK_DGRAM)
    except (OSError, UnicodeError):
        return PortFound.NO_ADDRESS, "the name leads to no address"
    for family, address in endpoints:
        with socket.socket(family, socket.SOCK_STREAM if stream else socket.SOCK_DGRAM) as trial:
            try:
                if stream:  # what closed a moment ago is in nobody's way; who listens is
                    trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                if family == socket.AF_INET6:
                    trial.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 1)
                trial.bind(address)
            except OSError as error:
                return _BY_NUMBER.get(error.errno or 0, PortFound.OTHER), os.strerror(error.errno or 0)
    return PortFound.FREE, ""
