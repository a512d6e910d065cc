"""Frames of every kind that the air could bring, for property tests."""

import string
from typing import Any

from hypothesis import strategies as st

from gateway.frames.ax25 import has_pid
from gateway.frames.frame import NO_LAYER_3, UI, Frame
from gateway.frames.header import Header, Repeater

bases = st.text(string.ascii_uppercase + string.digits, min_size=1, max_size=6)
ssids = st.integers(0, 15)
callsigns = st.builds(lambda base, ssid: f"{base}-{ssid}" if ssid else base, bases, ssids)
"""What an AX.25 address can hold, SSID 0 not written."""

informations = st.binary(max_size=300)
one_line_informations = informations.map(lambda octets: octets.translate(None, b"\r\n"))

any_paths = st.lists(st.builds(Repeater, callsigns, st.booleans()), max_size=8).map(tuple)
"""Used and unused marks in any order: AX.25 can say that a later repeater was first."""


@st.composite
def followed_paths(draw: st.DrawFn) -> tuple[Repeater, ...]:
    """Paths as frames follow them: all before the last used repeater are used."""
    names = draw(st.lists(callsigns, max_size=8))
    used = draw(st.integers(0, len(names)))
    return tuple(Repeater(name, place < used) for place, name in enumerate(names))


headers = st.builds(Header, callsigns, callsigns, any_paths)
followed_headers = st.builds(Header, callsigns, callsigns, followed_paths())

ui_frames = st.builds(Frame, headers, informations)
text_frames = st.builds(Frame, followed_headers, one_line_informations)
"""Frames of which monitor text loses nothing."""


@st.composite
def any_frames(draw: st.DrawFn) -> Frame:
    """Frames with any control octet, and a protocol identifier where its kind has one."""
    control = draw(st.just(UI) | st.integers(0, 255))
    pid = draw(st.just(NO_LAYER_3) | st.integers(0, 255)) if has_pid(control) else None
    return Frame(draw(headers), draw(informations), control, pid)


@st.composite
def splits(draw: st.DrawFn, stream: bytes) -> list[bytes]:
    """`stream` in pieces, cut anywhere, some of them empty: TCP gives no bounds."""
    cuts = sorted(draw(st.lists(st.integers(0, len(stream)), max_size=12)))
    return [stream[start:end] for start, end in zip([0, *cuts], [*cuts, len(stream)], strict=True)]


PLAIN: dict[str, Any] = {
    "run": "first",
    "sequence": 7,
    "elapsed_ms": 1500,
    "time": "2026-06-06T12:00:00.000Z",
    "receiver": "vhf",
    "source": "QA1BCD-9",
    "destination": "APRS",
    "path": ["QD1HRB*", "WIDE2-1"],
    "information": "!5836.00N/00355.00W>",
}
"""A heard object: all that it must have."""
