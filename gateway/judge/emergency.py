"""Which frames are emergencies: the one definition, for the judge, its explanation and everyone who is told."""

from gateway import reports
from gateway.frames.frame import Frame


def is_emergency(innermost: Frame, information: bytes) -> bool:
    """Whether the sender of a frame calls for help; `information` is that of the frame up to its first line end.

    Of third-party frames it is asked of the innermost: its sender calls, not the relay. What becomes of the frame does
    not matter: a call that must not go up is still one.
    """
    return reports.is_emergency(innermost.header.destination, information)
