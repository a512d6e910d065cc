"""Ports, names, engines and clocks: each asked of the real thing, or of a tree like the system's own."""

import socket
from pathlib import Path

import pytest

from gateway.probes import clock, engine, names
from gateway.probes.listener import PortFound, try_port
from tests.mosquitto_broker import free_port
from tests.probes.answering import saying


async def test_a_port_that_another_program_has_is_taken_and_one_that_nobody_has_is_free() -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        taken = await try_port("tcp", "127.0.0.1", other.getsockname()[1])
        port_of_udp = await try_port("udp", "127.0.0.1", other.getsockname()[1])
    assert taken == (PortFound.TAKEN, "Address already in use")
    assert port_of_udp == (PortFound.FREE, "")


async def test_a_datagram_port_is_taken_by_whoever_is_bound_to_it() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        other.bind(("127.0.0.1", 0))
        found, _ = await try_port("udp", "127.0.0.1", other.getsockname()[1])
    assert found is PortFound.TAKEN


@pytest.mark.parametrize("host", ["192.0.2.1", "no.such.invalid"])  # RFC 5737: nobody's; RFC 6761: no name
async def test_an_address_that_is_not_ours_cannot_be_listened_at(host: str) -> None:
    found, _ = await try_port("tcp", host, free_port())
    assert found is PortFound.NO_ADDRESS


@pytest.mark.parametrize(
    ("host", "name"), [("127.0.0.1", False), ("::1", False), ("fe80::1%lo", False), ("localhost", True)]
)
def test_an_address_is_no_name(host: str, *, name: bool) -> None:
    assert names.is_name(host) == name


async def test_a_name_leads_somewhere_or_is_said_to_lead_nowhere() -> None:
    assert await names.look_for("localhost") == ""
    assert await names.look_for("no.such.invalid") == "the name of the host cannot be resolved"
    assert await names.look_for("a..b") == "the host's name is no name"


async def test_an_engine_of_a_club_speaks_first() -> None:
    async with saying(b'INFO {"server_id":"x","version":"2.12"}\r\n') as port:
        assert await engine.ask("127.0.0.1", port) == ""
    async with saying(b"SSH-2.0-x\r\n", leaves=True) as port:
        assert await engine.ask("127.0.0.1", port) == "does not greet as the engine of a club does"
    assert await engine.ask("127.0.0.1", free_port()) == "cannot be reached: Connection refused"


def test_a_clock_chip_is_one_that_the_system_lists(tmp_path: Path) -> None:
    assert not clock.look(tmp_path).chip
    (tmp_path / "class" / "rtc" / "rtc0").mkdir(parents=True)
    assert clock.look(tmp_path).chip


@pytest.mark.parametrize(
    ("file", "text", "server"),
    [
        ("etc/systemd/timesyncd.conf", "[Time]\n#NTP=\nNTP=time.example 192.0.2.1\n", "time.example"),
        ("etc/systemd/timesyncd.conf", "[Time]\n#NTP=time.example\n", None),
        ("etc/chrony/chrony.conf", "# hosts\npool pool.example iburst\n", "pool.example"),
        ("etc/ntpsec/ntp.conf", "server first.example\nserver second.example\n", "first.example"),
        ("etc/other", "", None),
    ],
)
def test_the_computers_own_time_server_stands_where_its_programs_look(
    tmp_path: Path, file: str, text: str, server: str | None
) -> None:
    """timesyncd.conf(5), chrony.conf(5), ntp.conf(5)."""
    path = tmp_path / file
    path.parent.mkdir(parents=True)
    path.write_text(text)
    assert clock.own_time_server(tmp_path) == server
