"""The check sequence that a decoder may leave behind a frame: what tests send with it."""

from gateway.frames.fcs import fcs


def append_fcs(octets: bytes) -> bytes:
    """`octets` with their check sequence after them, low octet first, as frames travel over UDP (RFC 1226)."""
    return octets + fcs(octets).to_bytes(2, "little")
