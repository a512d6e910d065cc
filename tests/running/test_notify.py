"""What a service manager is told, on a real datagram socket. The words are those of sd_notify(3)."""

import os
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.running.notify import ServiceManager


@pytest.fixture(params=["path", "abstract"])
def manager(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[tuple[socket.socket, str]]:
    name = str(tmp_path / "notify") if request.param == "path" else f"@stile-test-{os.getpid()}"
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as receiver:
        receiver.bind(f"\0{name[1:]}" if name.startswith("@") else name)
        receiver.settimeout(10)
        yield receiver, name


def test_each_thing_is_told_in_the_words_of_the_protocol(manager: tuple[socket.socket, str]) -> None:
    receiver, address = manager
    service_manager = ServiceManager({"NOTIFY_SOCKET": address})
    service_manager.ready()
    service_manager.alive("heard 3\nREADY=0")
    service_manager.stopping()
    assert [receiver.recv(1000) for _ in range(3)] == [
        b"READY=1",
        b"WATCHDOG=1\nSTATUS=heard 3 READY=0",
        b"STOPPING=1",
    ]
    service_manager.reloading()
    assert receiver.recv(1000).startswith(b"RELOADING=1\nMONOTONIC_USEC=")


def test_a_manager_that_does_not_read_holds_nobody_up(manager: tuple[socket.socket, str]) -> None:
    service_manager = ServiceManager({"NOTIFY_SOCKET": manager[1]})
    for _ in range(10_000):
        service_manager.alive("still here")


def test_where_there_is_no_manager_nothing_is_told_and_nothing_fails(tmp_path: Path) -> None:
    ServiceManager({}).ready()
    ServiceManager({"NOTIFY_SOCKET": str(tmp_path / "gone")}).ready()


@pytest.mark.parametrize(
    ("environment", "seconds"),
    [
        ({}, None),
        ({"WATCHDOG_USEC": "30000000"}, 30),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": str(os.getpid())}, 30),
        ({"WATCHDOG_USEC": "30000000", "WATCHDOG_PID": "1"}, None),
        ({"WATCHDOG_USEC": "0"}, None),
        ({"WATCHDOG_USEC": "soon"}, None),
    ],
)
def test_it_asks_for_signs_of_life_where_the_environment_says_so(
    environment: dict[str, str], seconds: float | None
) -> None:
    assert ServiceManager(environment).watchdog_seconds == seconds
