"""The frame check sequence of AX.25, the 16-bit one of ISO 3309 and ITU-T V.42 (X.25 FCS)."""

import binascii

FCS_OCTETS = 2

_REVERSED = bytes(int(f"{octet:08b}"[::-1], 2) for octet in range(256))


def fcs(octets: bytes) -> int:
    """The check sequence of `octets`: polynomial 0x1021 reflected, preset and complemented; "123456789" gives 0x906E.

    The standard library's CRC has the same polynomial, unreflected: the bits of each octet go in reversed, and the
    sum comes out reversed.
    """
    unreflected = binascii.crc_hqx(octets.translate(_REVERSED), 0xFFFF) ^ 0xFFFF
    return _REVERSED[unreflected & 0xFF] << 8 | _REVERSED[unreflected >> 8]


def strip_fcs(octets: bytes) -> bytes | None:
    """`octets` without their check sequence, or None where it does not hold."""
    body, check = octets[:-FCS_OCTETS], octets[-FCS_OCTETS:]
    return body if len(check) == FCS_OCTETS and fcs(body) == int.from_bytes(check, "little") else None
