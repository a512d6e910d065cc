"""A club's engine: whether it greets as one. It speaks first, and says what it is, before anybody logs in."""

import asyncio

from gateway.groundwork.hosts import connect, look_up
from gateway.receivers.reconnect import reason_of

CONNECT_SECONDS = 5.0
GREETING_SECONDS = 5.0
_GREETING = b"INFO {"
"""What a server of NATS says first (its documentation, "Client Protocol")."""

_READ_OCTETS = 64


async def ask(host: str, port: int) -> str:
    """Why it is none, or cannot be reached, in plain words; empty where it greets."""
    try:
        async with asyncio.timeout(CONNECT_SECONDS):
            connected = await connect(await look_up(host, port), seconds=CONNECT_SECONDS, prepare=lambda _: None)
    except (OSError, UnicodeError) as error:
        return f"cannot be reached: {reason_of(error)}"
    with connected:
        loop = asyncio.get_running_loop()
        greeting = b""
        try:
            async with asyncio.timeout(GREETING_SECONDS):
                while len(greeting) < len(_GREETING) and (data := await loop.sock_recv(connected, _READ_OCTETS)):
                    greeting += data
        except OSError:  # TimeoutError is one
            pass
    return "" if greeting.startswith(_GREETING) else "does not greet as the engine of a club does"
