"""The time, asked of a time server: one packet of SNTP (RFC 4330), and one back.

Ours, since the library for it has had no release since 2021: the packet is 48 octets, and of them ten are needed.
"""

import asyncio
import secrets
import socket
import struct
import time
from dataclasses import dataclass

from gateway.groundwork.hosts import look_up
from gateway.receivers.reconnect import reason_of

TIME_PORT = 123
ANSWER_SECONDS = 4.0

_PACKET = struct.Struct("!4B3I4Q")
"""Leap, version and mode; stratum; poll; precision; root delay, dispersion, reference; four time stamps (section 4)."""

_CLIENT = 0b00_100_011
"""No warning, version 4, mode 3: a client."""

_SERVER_MODE = 4
_NOT_SYNCHRONISED = 3
_HIGHEST_STRATUM = 15
_UNIX_EPOCH = 2_208_988_800
"""Seconds from 1900, where SNTP counts from, to 1970."""

_ERA_SECONDS = 1 << 32


class NoTimeError(Exception):
    """No time came; the message says why."""


@dataclass(frozen=True, slots=True)
class TimeTold:
    """What a time server told."""

    ahead_seconds: float
    """By how much our clock goes before it; below 0 where it goes after it."""

    uncertain_seconds: float
    """Half of the way there and back: so far off it may be."""


async def ask(host: str, port: int = TIME_PORT) -> TimeTold:
    """Compare our clock with that of `host`. Raises `NoTimeError`."""
    loop = asyncio.get_running_loop()
    try:
        async with asyncio.timeout(ANSWER_SECONDS):
            family, address = (await look_up(host, port, socket.SOCK_DGRAM))[0]
            with socket.socket(family, socket.SOCK_DGRAM) as asking:
                asking.setblocking(False)
                asking.connect(address)
                token = secrets.randbits(64)  # stands for our time, which is nobody's business (RFC 8633 section 6.1)
                began = time.monotonic()
                await loop.sock_sendall(asking, request(token))
                while True:
                    answer = await loop.sock_recv(asking, 2 * _PACKET.size)
                    took = time.monotonic() - began
                    if (server_seconds := read_answer(answer, token)) is not None:
                        return TimeTold(time.time() - took / 2 - server_seconds, took / 2)
    except TimeoutError:
        raise NoTimeError(f"it did not answer within {ANSWER_SECONDS:g} s") from None
    except (OSError, UnicodeError) as error:
        raise NoTimeError(reason_of(error)) from None


def request(token: int) -> bytes:
    """The packet of a client, whose transmit time stamp is `token`."""
    return _PACKET.pack(_CLIENT, 0, 0, 0, 0, 0, 0, 0, 0, 0, token)


def read_answer(packet: bytes, token: int) -> float | None:
    """The time that the packet tells, in Unix seconds; None where it is no answer to `token`.

    Raises `NoTimeError` where the server says that it knows none (section 5).
    """
    if len(packet) < _PACKET.size:
        return None
    first, stratum, *_, originate, _, transmit = _PACKET.unpack_from(packet)
    if first & 0b111 != _SERVER_MODE or originate != token:
        return None
    if first >> 6 == _NOT_SYNCHRONISED or not 1 <= stratum <= _HIGHEST_STRATUM or not transmit:
        raise NoTimeError("it says that it does not know the time itself")
    seconds: float = transmit / _ERA_SECONDS - _UNIX_EPOCH
    return seconds if seconds >= 0 else seconds + _ERA_SECONDS  # the era that begins in 2036 (section 3)
