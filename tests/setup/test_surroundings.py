"""What is on this computer: told by the system's own tables, and by sockets that speak, are silent, or are none."""

import socket
from pathlib import Path

from gateway.setup import phone
from gateway.setup.surroundings import find_decoders, listening_ports, serial_devices
from tests.probes.answering import frame, in_kiss, saying


def test_a_port_that_is_listened_at_is_in_the_systems_table() -> None:
    with socket.create_server(("127.0.0.1", 0)) as here, socket.create_server(("127.0.0.1", 0)) as other:
        ports = {here.getsockname()[1], other.getsockname()[1]}
        assert ports <= set(listening_ports())
    assert not ports <= set(listening_ports())


# Two lines as proc(5) describes them: one listens at 127.0.0.1:8001 (0A), the other is a connection (01).
TABLE = """\
  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode
   0: 0100007F:1F41 00000000:0000 0A 00000000:00000000 00:00000000 00000000     0        0 1 1 0 100 0 0 10 0
   1: 0100007F:1F42 0100007F:9C40 01 00000000:00000000 00:00000000 00000000     0        0 2 1 0 20 4 30 10 -1
   2: 0700A8C0:1F43 00000000:0000 0A 00000000:00000000 00:00000000 00000000     0        0 3 1 0 100 0 0 10 0
"""


def test_only_what_listens_on_loopback_counts(tmp_path: Path) -> None:
    (tmp_path / "tcp").write_text(TABLE)
    assert listening_ports([tmp_path / "tcp", tmp_path / "none"]) == [8001]


async def test_decoders_are_told_from_what_is_none_and_those_that_speak_come_first() -> None:
    async with (
        saying(b"") as silent,
        saying(b"SSH-2.0-x\r\n") as shell,
        saying(b"", leaves=True) as rude,
        saying(b"QA1BCD-9>APRS:>\x1b[2J\r\n") as text,
        saying(in_kiss(frame(">under way"))) as kiss,
    ):
        found = await find_decoders([silent, shell, rude, text, kiss], seconds=1.0)
    assert [(one.address, one.speaks) for one in found] == [
        (f"tnc2+tcp://127.0.0.1:{text}", True),
        (f"kiss+tcp://127.0.0.1:{kiss}", True),
        (f"kiss+tcp://127.0.0.1:{silent}", False),
    ]
    assert all(one.heard.isprintable() for one in found)


def test_a_serial_device_is_listed_once_by_the_name_that_stays_and_not_opened(tmp_path: Path) -> None:
    by_id = tmp_path / "dev/serial/by-id"
    by_id.mkdir(parents=True)
    (tmp_path / "dev/ttyUSB0").touch()
    (tmp_path / "dev/ttyACM1").touch()
    (tmp_path / "dev/null").touch()
    (by_id / "usb-Maker_Modem-if00").symlink_to("../../ttyUSB0")
    assert serial_devices(tmp_path) == ["/dev/serial/by-id/usb-Maker_Modem-if00", "/dev/ttyACM1"]


def test_a_code_is_read_back_as_the_address() -> None:
    """The modules of the picture are those that the library's own matrix has, light for dark."""
    import segno  # noqa: PLC0415

    address = "http://192.0.2.7:7583/"
    lines = list(phone.qr_code(address))
    matrix = [[bool(dark) for dark in row] for row in segno.make(address, micro=False).matrix_iter(border=4)]
    halves = {"█": (False, False), "▀": (False, True), "▄": (True, False), " ": (True, True)}
    drawn = [[halves[character][half] for character in line] for line in lines for half in (0, 1)]
    assert drawn[: len(matrix)] == matrix
