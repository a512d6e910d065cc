"""Our encoded frames, read by an outside judge: tshark's AX.25 KISS dissector."""

import random
import string
import struct
import subprocess
from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest

from gateway.frames import ax25
from gateway.frames.frame import NO_LAYER_3, UI, Frame
from gateway.frames.header import Header, Repeater

LINKTYPE_AX25_KISS = 202
"""The link-layer header types of the capture file format: one KISS type octet, then the frame, no FENDs."""

NOT_FRAMED_FURTHER = 0x77
"""A protocol identifier that names no protocol, so that the dissector shows the information as it is."""

UI_WITH_POLL = 0x13
"""Left out: the dissector looks for no protocol identifier there, though the standard puts one into every UI frame
(AX.25 section 3.4)."""

CONTROLS = sorted(set(range(256)) - {UI_WITH_POLL})

FRAMES = 400


def frame_by(chance: random.Random) -> Frame:
    def callsign() -> str:
        base = "".join(chance.choices(string.ascii_uppercase + string.digits, k=chance.randint(1, 6)))
        ssid = chance.randint(0, 15)
        return f"{base}-{ssid}" if ssid else base

    path = tuple(Repeater(callsign(), chance.random() < 0.5) for _ in range(chance.randint(0, 8)))
    control = UI if chance.random() < 0.7 else chance.choice(CONTROLS)
    pid = chance.choice((NO_LAYER_3, NO_LAYER_3, NOT_FRAMED_FURTHER)) if ax25.has_pid(control) else None
    information = b"" if pid is None else chance.randbytes(chance.randint(0, 256))
    return Frame(Header(callsign(), callsign(), path), information, control, pid)


def write_capture(path: Path, frames: Sequence[Frame]) -> None:
    """A capture file in the classic format: a file header, then each packet with its own."""
    records = [struct.pack("<IHHiIII", 0xA1B2C3D4, 2, 4, 0, 0, 0xFFFF, LINKTYPE_AX25_KISS)]
    for seconds, frame in enumerate(frames):
        packet = b"\x00" + ax25.write(frame)
        records.append(struct.pack("<IIII", seconds, 0, len(packet), len(packet)) + packet)
    path.write_bytes(b"".join(records))


def read_by_tshark(path: Path) -> list[Frame]:
    # The dissector of frames without layer 3 looks for reports inside: the information alone is asked for.
    command = ["tshark", "-n", "-r", str(path), "--disable-protocol", "ax25_nol3", "-T", "pdml"]
    output = subprocess.run(command, check=True, capture_output=True, timeout=60).stdout
    return [frame_of(packet) for packet in ET.fromstring(output).iter("packet")]


def frame_of(packet: ET.Element) -> Frame:
    fields = {field.get("name", ""): field for field in packet.iter("field")}

    def callsign(name: str) -> str:
        return fields[name].get("showname", "").split(": ")[1].strip()

    def octet(name: str) -> int | None:
        return int(fields[name].get("value", ""), 16) if name in fields else None

    vias = [f"ax25.via{place}" for place in range(1, 9) if f"ax25.via{place}" in fields]
    # The dissector shows no used mark: it is the top bit of the address that it found (AX.25 section 3.12.5).
    path = tuple(Repeater(callsign(via), bool(bytes.fromhex(fields[via].get("value", ""))[6] & 0x80)) for via in vias)
    information = bytes.fromhex(fields["data.data"].get("value", "")) if "data.data" in fields else b""
    control = octet("ax25.ctl")
    assert control is not None
    header = Header(callsign("ax25.src"), callsign("ax25.dst"), path)
    return Frame(header, information, control, octet("ax25.pid"))


@pytest.mark.needs("tshark", "tshark")
def test_tshark_finds_in_our_frames_what_we_wrote_there(tmp_path: Path) -> None:
    chance = random.Random(202)
    frames = [frame_by(chance) for _ in range(FRAMES)]
    capture = tmp_path / "frames.pcap"
    write_capture(capture, frames)
    assert read_by_tshark(capture) == frames
