"""Keeps the demo off its usual ports: a test in another process may ask whoever listens there."""

import contextlib
import socket
from collections.abc import Iterator

import pytest

USUAL_PORTS = (1883, 7581, 7582, 7583, 14580)


@pytest.fixture(autouse=True)
def usual_ports_are_taken() -> Iterator[None]:
    """Taken, and nobody listens: the demo takes others, and whoever knocks there is refused as ever."""
    with contextlib.ExitStack() as sockets:
        for port in USUAL_PORTS:
            with contextlib.suppress(OSError):
                sockets.enter_context(socket.socket()).bind(("127.0.0.1", port))
        yield
