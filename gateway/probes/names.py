"""Names of hosts: whether they lead to an address."""

import asyncio

from gateway.groundwork.hosts import look_up
from gateway.groundwork.loopback import plain_address
from gateway.receivers.reconnect import reason_of

LOOK_UP_SECONDS = 6.0


def is_name(host: str) -> bool:
    """Whether somebody must be asked what it means: an address is none."""
    return plain_address(host) is None


async def look_for(host: str) -> str:
    """Why the name leads nowhere, in plain words; empty where it leads to an address."""
    try:
        async with asyncio.timeout(LOOK_UP_SECONDS):
            await look_up(host, 0)
    except TimeoutError:
        return f"the name service did not answer within {LOOK_UP_SECONDS:g} s"
    except (OSError, UnicodeError) as error:
        return reason_of(error)
    return ""
