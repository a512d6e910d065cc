"""The monotonic clock of a club's members: one that goes on while the computer sleeps, where the system has one."""

from gateway.groundwork.clocks import since_boot


def steady_ms() -> float:
    """Milliseconds; what they count from means nothing. A lease must not outlive a night in a closed laptop."""
    return since_boot() * 1000
