"""What the kernel is told about a connection, and asked of it, so that nothing old is ever delivered."""

import socket
import struct
import sys
from typing import Protocol

if sys.platform != "win32":
    import fcntl
    import termios

_USER_TIMEOUT: int | None = getattr(socket, "TCP_USER_TIMEOUT", None)
_RESET = struct.pack("ii", 1, 0)  # linger, for no time at all
_NO_COUNT = bytes(4)


class Socket(Protocol):
    """As much of a socket as is needed here: a transport shows no more of its own."""

    def fileno(self) -> int: ...  # noqa: D102 - a socket's own
    def setsockopt(self, level: int, name: int, value: int | bytes, /) -> None: ...  # noqa: D102 - a socket's own


def prepare(sock: Socket, *, send_buffer_octets: int, unacknowledged_ms: int) -> None:
    """Keep next to nothing in the kernel, and let it give up what stays unacknowledged for so long.

    Nagle's algorithm is off, as the network asks (IS-Connect). `TCP_USER_TIMEOUT` (RFC 5482) is set where the
    platform has it; elsewhere the link's own watch stands alone.
    """
    sock.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, send_buffer_octets)
    if _USER_TIMEOUT is not None:
        sock.setsockopt(socket.IPPROTO_TCP, _USER_TIMEOUT, unacknowledged_ms)


def unacknowledged_octets(sock: Socket) -> int:
    """How many octets the kernel holds that the other end has not acknowledged; 0 where the kernel does not say.

    Linux names the request SIOCOUTQ for sockets and gives it the number of TIOCOUTQ; it answers for a connection that
    has broken, too, until the socket is closed.
    """
    try:
        count = fcntl.ioctl(sock.fileno(), termios.TIOCOUTQ, _NO_COUNT)
    except (OSError, ValueError):  # the latter for a socket that is closed
        return 0
    return int.from_bytes(count, sys.byteorder)


def reset_when_closed(sock: Socket) -> None:
    """Let closing the socket throw away what it holds and reset the connection, in place of delivering it some day."""
    sock.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, _RESET)
