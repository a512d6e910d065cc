"""Whether a passcode belongs to a callsign. It only verifies: the operator asks the network for a passcode, not us."""

from gateway.frames.header import base_of, is_network_callsign

_START = 0x73E2
_FIFTEEN_BITS = 0x7FFF


def belongs(callsign: str, passcode: int) -> bool:
    """Whether `passcode` is that of `callsign`, with or without its SSID (IS-Connect; the algorithm is from memory).

    -1, which asks the network to let us receive only, belongs to nobody.
    """
    return is_network_callsign(callsign) and _checksum(base_of(callsign).upper().encode("ascii")) == passcode


def _checksum(letters: bytes) -> int:
    """The letters in pairs, each pair one 16-bit number, all of them exclusive-or'd."""
    checksum = _START
    for place, letter in enumerate(letters):
        checksum ^= letter if place % 2 else letter << 8
    return checksum & _FIFTEEN_BITS
