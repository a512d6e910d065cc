"""A modem on a serial line, by the terminal interface of POSIX (termios)."""

import asyncio
import fcntl
import os
import termios
import tty
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from gateway.receivers.address import SerialLine
from gateway.receivers.receiver import READ_OCTETS
from gateway.receivers.reconnect import ConnectionEndedError

_INPUT_SPEED, _OUTPUT_SPEED = 4, 5
_CONTROL_FLAGS = 2


@asynccontextmanager
async def connection(place: SerialLine) -> AsyncIterator[asyncio.StreamReader]:
    """The line at `place`, opened anew: raw, 8 bits, no parity, 1 stop bit, no flow control.

    Raises `OSError`, or `ConnectionEndedError` where it is no serial line or another program's.
    """
    # A modem may drop its line at any time: O_NONBLOCK, so that opening never waits for a carrier.
    descriptor = os.open(place.device, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
    line = os.fdopen(descriptor, "rb", buffering=0)
    try:
        _claim(descriptor)
        _set_up(descriptor, place.baud)
        reader = asyncio.StreamReader(limit=READ_OCTETS)
        transport, _ = await asyncio.get_running_loop().connect_read_pipe(
            lambda: asyncio.StreamReaderProtocol(reader), line
        )
    except BaseException:
        line.close()
        raise
    try:
        yield reader
    finally:
        transport.close()


def _claim(descriptor: int) -> None:
    """Keep others off: two programs that read one line each get half of every frame."""
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise ConnectionEndedError("another program has the serial line") from None


def _set_up(descriptor: int, baud: int) -> None:
    if not os.isatty(descriptor):
        raise ConnectionEndedError("what stands there is no serial line")
    try:
        tty.setraw(descriptor, termios.TCSANOW)
        modes = termios.tcgetattr(descriptor)
        modes[_CONTROL_FLAGS] |= termios.CLOCAL | termios.CREAD
        modes[_CONTROL_FLAGS] &= ~(termios.CSTOPB | termios.CRTSCTS)
        modes[_INPUT_SPEED] = modes[_OUTPUT_SPEED] = getattr(termios, f"B{baud}")
        termios.tcsetattr(descriptor, termios.TCSANOW, modes)
        termios.tcflush(descriptor, termios.TCIFLUSH)
    except termios.error as error:
        raise OSError(*error.args) from error
