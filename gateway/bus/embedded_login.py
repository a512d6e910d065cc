"""By what the embedded broker knows the gateway. It exists in this process alone, and costs nothing to load."""

import secrets
import sys

OWN_USERNAME = "gateway"
OWN_PASSWORD = secrets.token_urlsafe(32)
OWN_IDENTIFIER = secrets.token_hex(10)
"""As a client: whoever knew it could push the gateway off (MQTT 3.1.1 section 3.1.4). The broker lives no longer."""

_DOOR = secrets.token_hex(8)


def own_door(port: int) -> str | None:
    """Where the gateway alone enters its broker at `port`, past everyone who waits before that port.

    The name of a socket that is no file (Linux manual page unix(7), "abstract"); None where the system knows none.
    """
    return f"\0stile-{_DOOR}-{port}" if sys.platform == "linux" else None
