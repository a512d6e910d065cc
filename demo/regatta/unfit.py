"""What must not be passed on, and what a policy may keep: one of each kind within the first twenty seconds."""

from collections.abc import Iterator

from demo.regatta import information as write
from demo.regatta.air import GENERAL, HARBOUR_REPEATER, POWER_BOAT, Compose, OnAir, Turn, on_air
from demo.regatta.sailing import HARBOUR
from gateway.frames import ax25
from gateway.frames.frame import UI, Frame
from gateway.frames.header import Header, Repeater

EVERY = 50.0
"""Seconds."""

_HERE = f"!{write.place(HARBOUR, POWER_BOAT)}"
_SABM = 0x3F
"""Someone connects to a mailbox (AX.25 section 4.3.3.1)."""

_IP = 0xCC
"""Another protocol (AX.25 section 3.4)."""

_TOO_LONG = "Sailing instructions, section by section. " * 12


def unfit() -> Iterator[Turn]:
    """All that a gateway or its policy may keep at home."""
    for first, compose in (*_damaged(), *_no_reports(), *_by_their_headers(), *_by_their_information()):
        yield Turn(first, EVERY, compose)


def _damaged() -> list[tuple[float, Compose]]:
    """An escape that KISS does not know, and a frame cut off within its addresses."""
    broken_escape = b"\xc0\x00\xdb\x41" + _HERE.encode() + b"\xc0"
    cut_off = ax25.write(Frame(Header("QH4CUT", GENERAL), b""))[:11]
    return [
        (5.1, lambda seconds: [OnAir(seconds, b"", garbled=broken_escape)]),
        (9.2, lambda seconds: [OnAir(seconds, cut_off)]),
    ]


def _no_reports() -> list[tuple[float, Compose]]:
    connecting = ax25.write(Frame(Header("QH5BOX", "QH6MBX-1"), b"", _SABM, None))
    datagram = ax25.write(Frame(Header("QH8NET", "QST"), b"E\x00\x00\x1c", UI, _IP))
    return [
        (6.1, lambda seconds: [OnAir(seconds, connecting)]),
        (7.2, lambda seconds: [OnAir(seconds, datagram)]),
    ]


def _by_their_headers() -> list[tuple[float, Compose]]:
    return [
        (8.1, _once("QB?CDE-8", (), _HERE)),
        (9.0, _once("NOCALL", (), _HERE)),
        (9.7, _once("QG1BAD", ("qAR", "QX2GAT-10"), _HERE)),
        (10.6, _once("QG3NET-5", ("TCPIP*",), _HERE)),
        (11.4, _once("QG4SHY-7", ("WIDE1-1", "NOGATE"), _HERE)),
        (12.2, _once("QG5SHY-7", ("RFONLY",), _HERE)),
        # Twice the same, the second time through the harbour repeater.
        (16.4, _once("QF2TWO-7", ("WIDE1-1",), _HERE)),
        (17.0, _once("QF2TWO-7", (f"{HARBOUR_REPEATER}*",), _HERE)),
        # Fit, but a policy may keep it: a beacon from somebody's bench.
        (17.5, lambda seconds: [on_air(seconds, Header("QZ9BCD", "APZ001"), f"{_HERE}On the bench {int(seconds)}")]),
    ]


def _by_their_information() -> list[tuple[float, Compose]]:
    return [
        (13.4, _once("QX9GAT", (), "}a third-party frame without a header")),
        (14.1, _once("QX9GAT", (), f"}}QG6INT>{GENERAL},TCPIP,QX9GAT*:{_HERE}")),
        (14.6, _once("QG8NIL", (), "")),
        (15.4, _once("QG9ASK", (), "?APRS?")),
        (15.9, _once("QF1LNG", (), f">{_TOO_LONG}")),
    ]


def _once(source: str, path: tuple[str, ...], information: str) -> Compose:
    entries = tuple(Repeater(entry.removesuffix("*"), entry.endswith("*")) for entry in path)
    return lambda seconds: [on_air(seconds, Header(source, GENERAL, entries), information)]
