"""The computer's clocks: the one that runs on over a restart of the gateway, and what the wall clock is good for."""

import time
from pathlib import Path

EARLIEST_MS = 1_767_225_600_000
"""2026-01-01T00:00:00Z: this program was not written before. A wall clock that shows an earlier time is wrong."""

JUMP_MS = 2_000
"""A wall clock that moved by more against the other was set: by less, it had a leap second, or is being steered."""

_BOOT_IDENTITY = Path("/proc/sys/kernel/random/boot_id")
_TIME_ERROR = 5
"""What `adjtimex` returns of a clock that nobody sets right (Linux manual page adjtimex(2))."""

_TIMEX_OCTETS = 512
"""More than `struct timex` has on any machine."""


def since_boot() -> float:
    """Seconds since the computer started. It is never set, and goes on while the computer sleeps."""
    return time.clock_gettime(time.CLOCK_BOOTTIME) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic()


def steady_ms() -> float:
    """The same in milliseconds: for a lease, which must not outlive a night in a closed laptop."""
    return since_boot() * 1000


def boot_identity() -> str | None:
    """Which start of the computer this is: `since_boot` compares only with what it said in the same one."""
    try:
        return _BOOT_IDENTITY.read_text("ascii").strip() or None
    except (OSError, UnicodeError):
        return None


def is_plausible(time_ms: int) -> bool:
    """Whether a wall clock that shows this time (Unix milliseconds) can be right."""
    return time_ms >= EARLIEST_MS


def is_synchronised() -> bool:
    """Whether the system says that its wall clock is held to the time of others; False where it does not know."""
    import ctypes  # noqa: PLC0415 - asked once in a run, at its start

    try:
        state: int = ctypes.CDLL(None, use_errno=True).adjtimex(ctypes.create_string_buffer(_TIMEX_OCTETS))
    except (OSError, AttributeError):
        return False
    return 0 <= state < _TIME_ERROR
