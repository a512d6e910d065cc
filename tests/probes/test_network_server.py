"""A server of the network is told from what is none, and asked beside a gateway that is logged in."""

import pytest

from demo.network_server import Answer, Conduct, NetworkServer
from gateway.probes import network_server
from gateway.probes.network_server import ask, own_name
from tests.mosquitto_broker import free_port
from tests.probes.answering import saying

CALL = "QX1GAT-10"
PASSCODE = 21161  # trade-notes' check value for QX1GAT, from memory
RECEIVE_ONLY = -1


@pytest.fixture
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(network_server, "LOGIN_SECONDS", 0.5)


async def test_a_server_greets_and_verifies_the_login() -> None:
    async with NetworkServer() as server:
        found = await ask("127.0.0.1", server.port, CALL, PASSCODE, watch_seconds=0)
    assert (found.software, found.verified, found.accepted, found.trouble) == ("stand-in 1.0", True, True, "")


async def test_the_login_is_not_the_one_of_a_gateway_that_runs_and_sends_nothing() -> None:
    async with NetworkServer(keep_lines=10) as server:
        await ask("127.0.0.1", server.port, CALL, PASSCODE, watch_seconds=0)
    assert [line.split()[1] for line in server.logins] == [b"QX1GAT-DR"]
    assert not server.lines


@pytest.mark.parametrize(
    ("callsign", "name"),
    [
        ("QX1GAT-10", "QX1GAT-DR"),
        ("QX1GAT", "QX1GAT-DR"),
        ("QX1GAT-DR", "QX1GAT-DX"),
        ("QX1GATE", "QX1GATE-D"),
        ("QX1GATEX", None),
    ],
)
def test_the_probe_takes_a_name_that_is_nobodys(callsign: str, name: str | None) -> None:
    assert own_name(callsign) == name


async def test_a_passcode_of_another_callsign_is_not_verified() -> None:
    async with NetworkServer() as server:
        found = await ask("127.0.0.1", server.port, CALL, PASSCODE + 1, watch_seconds=0)
    assert (found.verified, found.accepted) == (False, False)


async def test_who_asks_only_to_receive_is_taken_without_being_verified() -> None:
    async with NetworkServer() as server:
        found = await ask("127.0.0.1", server.port, CALL, RECEIVE_ONLY, watch_seconds=0)
    assert (found.verified, found.accepted) == (False, True)


@pytest.mark.parametrize("octets", [b"SSH-2.0-open\r\n", b"\x1b[2Jhello\r\n"])
async def test_what_is_no_server_of_the_network_is_quoted_in_print(octets: bytes) -> None:
    async with saying(octets) as port:
        found = await ask("127.0.0.1", port, CALL, PASSCODE)
    assert found.software == ""
    assert found.said
    assert found.said.isprintable()
    assert found.trouble == "the server did not greet"


async def test_a_server_that_says_nothing_did_not_greet(hasty: None) -> None:
    del hasty
    async with saying(b"") as port:
        found = await ask("127.0.0.1", port, CALL, PASSCODE)
    assert (found.software, found.said, found.trouble) == ("", "", "the server did not greet")


async def test_a_server_that_greets_and_never_answers_is_told_from_one_that_refuses(hasty: None) -> None:
    del hasty
    async with NetworkServer(conduct=Conduct(answer=Answer.NONE)) as server:
        found = await ask("127.0.0.1", server.port, CALL, PASSCODE)
    assert (found.verified, found.trouble) == (None, "the server did not answer the login")


async def test_a_callsign_without_room_for_a_second_name_is_greeted_and_left() -> None:
    async with NetworkServer() as server:
        found = await ask("127.0.0.1", server.port, "QX1GATEX", PASSCODE)
        assert not server.logins
    assert (found.software, found.verified, found.trouble) == ("stand-in 1.0", None, "")


async def test_a_port_that_refuses_says_so() -> None:
    found = await ask("127.0.0.1", free_port(), CALL, PASSCODE)
    assert found.trouble == "cannot connect: Connection refused"


async def test_lines_that_enter_by_the_stations_own_login_are_counted() -> None:
    lines = b"QA1BCD-9>APRS,qAO,QX1GAT-10:>one\r\nQA1BCD-9>APRS,qAO,QX1GAT-1:>other\r\nQB2>APRS:,qAO,QX1GAT-10:x\r\n"
    greeting = b"# stand-in\r\n# logresp QX1GAT-DR verified, server QX9\r\n"
    async with saying(greeting + lines, leaves=True) as port:
        found = await ask("127.0.0.1", port, CALL, PASSCODE)
    assert found.same_login == 1
