"""What the text port is told: where it listens, and how much may wait for whom."""

from dataclasses import dataclass

SHARE_OF_FILES = 1 / 4
"""Of the files that the process may have open, so much may be connections here, whatever the options say."""


@dataclass(frozen=True, slots=True)
class LinesOptions:
    """Where the port listens, and its bounds. There is no password: who can connect can read what is heard."""

    host: str
    port: int
    """0: one that is free."""

    clients: int = 100
    """How many may be connected at once; one more is turned away."""

    client_octets: int = 65_536
    """How much may wait for one client; one that lets more pile up does not read, and is dropped."""

    kernel_octets: int = 65_536
    """The send buffer of each connection in the kernel, which may take twice as much for its own account of it."""

    waiting_lines: int = 2_000
    """How many frames may wait to be written at all; beyond it the oldest are shed. None holds more than 2 kB."""

    retry_seconds: float = 10.0
    """How soon it tries again where it could not listen."""
