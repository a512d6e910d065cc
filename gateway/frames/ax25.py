"""AX.25 frames without their check sequence: octets ↔ `Frame` (AX.25 sections 3.1 to 3.12)."""

from functools import lru_cache

from gateway.frames.frame import NO_LAYER_3, UI, Damaged, Frame, damaged
from gateway.frames.header import REMEMBERED_HEADERS, REMEMBERED_PATHS, Header, Repeater, is_plain_text

ADDRESS_OCTETS = 7
CALLSIGN_OCTETS = 6
MAXIMUM_SSID = 15
MAXIMUM_REPEATERS = 8
"""AX.25 version 2.0 and APRS101 chapter 3; version 2.2 asks for no more than two in new paths."""

MAXIMUM_ADDRESSES = 2 + MAXIMUM_REPEATERS
_UI_MARK = bytes((UI, NO_LAYER_3))
_LAST_ADDRESS = 0x01
_USED_OR_COMMAND = 0x80
_RESERVED = 0x60
_SHORTEST_ADDRESS_FIELD = 2 * ADDRESS_OCTETS
_SHIFTED = bytes(octet >> 1 for octet in range(256))
_WITHOUT_END = bytes(range(0, 256, 2))
"""The octets whose lowest bit, the end mark of an address field, is clear."""


class DamageError(ValueError):
    """The octets are no AX.25 frame; the message says why, in our own words."""


def read(octets: bytes) -> Frame | Damaged:
    """Read one frame from `octets`, which hold it from its first address octet to its last information octet.

    Never raises: what is no frame comes back as `Damaged`.
    """
    # Nearly every frame is a UI frame from a header heard before. The address field of a header that was read ends
    # at its only odd octet, so when the octets before the first control-and-PID pair equal such a field, they are it.
    end = octets.find(_UI_MARK, _SHORTEST_ADDRESS_FIELD)
    if end % ADDRESS_OCTETS == 0:
        try:
            return Frame(read_header(octets[:end]), octets[end + 2 :])
        except DamageError:
            pass  # the pair stood elsewhere: read it the long way
    try:
        return _read_any(octets)
    except DamageError as damage:
        return damaged(str(damage), octets)


def write(frame: Frame) -> bytes:
    """The octets of `frame`, without check sequence. Raises `ValueError` where a callsign does not fit AX.25."""
    header = frame.header
    addresses = [_address(header.destination, _USED_OR_COMMAND), _address(header.source, 0)]
    addresses += [_address(entry.callsign, _USED_OR_COMMAND if entry.used else 0) for entry in header.path]
    if len(addresses) > MAXIMUM_ADDRESSES:
        raise ValueError(f"an AX.25 path has no more than {MAXIMUM_REPEATERS} repeaters, this one {len(header.path)}")
    field = bytearray(b"".join(addresses))
    field[-1] |= _LAST_ADDRESS
    rest = bytes((frame.control,)) if frame.pid is None else bytes((frame.control, frame.pid))
    return bytes(field) + rest + frame.information


@lru_cache(maxsize=REMEMBERED_HEADERS)
def read_header(field: bytes) -> Header:
    """Read a whole address field, all of `field` and no more. Raises `DamageError`."""
    count, rest = divmod(len(field), ADDRESS_OCTETS)
    if rest or not 2 <= count <= MAXIMUM_ADDRESSES:  # noqa: PLR2004 - destination and source
        raise DamageError("the address field holds no whole number of addresses from 2 to 10")
    if field.translate(None, _WITHOUT_END) != field[-1:]:
        raise DamageError("the address field does not end where its last address says")
    destination, source, path = (
        field[:ADDRESS_OCTETS],
        field[ADDRESS_OCTETS : 2 * ADDRESS_OCTETS],
        field[2 * ADDRESS_OCTETS :],
    )
    return Header(_callsign(source), _callsign(destination), _path(path))


@lru_cache(maxsize=REMEMBERED_PATHS)
def _path(field: bytes) -> tuple[Repeater, ...]:
    addresses = (field[start : start + ADDRESS_OCTETS] for start in range(0, len(field), ADDRESS_OCTETS))
    return tuple(Repeater(_callsign(octets), bool(octets[CALLSIGN_OCTETS] & _USED_OR_COMMAND)) for octets in addresses)


def _read_any(octets: bytes) -> Frame:
    end = next(
        (place for place, octet in enumerate(octets[: MAXIMUM_ADDRESSES * ADDRESS_OCTETS], 1) if octet & _LAST_ADDRESS),
        0,
    )
    if not end:
        raise DamageError("the address field has no end")
    header = read_header(octets[:end])
    if len(octets) == end:
        raise DamageError("the frame ends before its control octet")
    control = octets[end]
    if not has_pid(control):
        return Frame(header, octets[end + 1 :], control, None)
    if len(octets) == end + 1:
        raise DamageError("the frame ends before its protocol identifier")
    return Frame(header, octets[end + 2 :], control, octets[end + 1])


def has_pid(control: int) -> bool:
    """Whether a frame with this control octet has a protocol identifier: I and UI frames only (AX.25 section 3.4)."""
    return control & 0x01 == 0 or control & 0xEF == UI


def _callsign(address: bytes) -> str:
    """The text of one address: space-padded ASCII, each octet shifted left one bit (AX.25 section 3.12)."""
    text = address[:CALLSIGN_OCTETS].translate(_SHIFTED).decode("ascii").rstrip(" ")
    if not is_plain_text(text) or "-" in text:
        raise DamageError("a callsign holds an octet that is no character of a callsign")
    ssid = address[CALLSIGN_OCTETS] >> 1 & 0x0F
    return f"{text}-{ssid}" if ssid else text


def _address(callsign: str, flag: int) -> bytes:
    base, _, suffix = callsign.partition("-")
    if len(base) > CALLSIGN_OCTETS or not is_plain_text(base):
        raise ValueError(f"{callsign!r} does not fit an AX.25 address: at most six characters")
    if suffix and not (suffix.isdecimal() and suffix.isascii() and int(suffix) <= MAXIMUM_SSID):
        raise ValueError(f"{callsign!r} does not fit an AX.25 address: the SSID is a number from 0 to 15")
    shifted = bytes(ord(character) << 1 for character in base.ljust(CALLSIGN_OCTETS))
    return shifted + bytes((flag | _RESERVED | int(suffix or "0") << 1,))
