import contextlib
import socket
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from gateway.uplink import tcp

TABLE = Path("/proc/net/tcp")


@pytest.fixture
def pair() -> Iterator[tuple[socket.socket, socket.socket]]:
    """A connected socket of ours, and the other end, which reads nothing by itself and has little room."""
    with socket.create_server(("127.0.0.1", 0)) as listening:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 2_048)
        with socket.socket() as ours:
            tcp.prepare(ours, send_buffer_octets=8_192, unacknowledged_ms=10_000)
            ours.connect(listening.getsockname())
            theirs, _ = listening.accept()
            with theirs:
                yield ours, theirs


def fill(ours: socket.socket) -> int:
    ours.setblocking(False)
    sent = 0
    with contextlib.suppress(BlockingIOError):
        while True:
            sent += ours.send(b"x" * 1_000)
    return sent


def test_the_options_hold_back_nothing(pair: tuple[socket.socket, socket.socket]) -> None:
    ours, _ = pair
    assert ours.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
    assert ours.getsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF) <= 2 * 8_192
    if sys.platform == "linux":
        assert ours.getsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT) == 10_000


def octets_in_the_table(ours: socket.socket) -> int:
    """Linux manual page proc_net(5): the fifth field is tx_queue and rx_queue, the second the local address; in hex."""
    rows = [line.split() for line in TABLE.read_text("ascii").splitlines()[1:]]
    queue = next(row[4] for row in rows if row[1].endswith(f":{ours.getsockname()[1]:04X}") and row[3] == "01")
    return int(queue.partition(":")[0], 16)


@pytest.mark.skipif(not TABLE.exists(), reason="the kernel shows no table of its connections")
def test_the_unacknowledged_octets_are_those_of_the_kernels_own_table(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    ours, _ = pair
    assert tcp.unacknowledged_octets(ours) == 0
    fill(ours)
    before, tabled = -1, 0
    while tcp.unacknowledged_octets(ours) != before:  # until nothing was acknowledged while the table was read
        before = tcp.unacknowledged_octets(ours)
        tabled = octets_in_the_table(ours)
    assert before == tabled > 0


def test_a_reset_throws_away_what_the_kernel_holds(pair: tuple[socket.socket, socket.socket]) -> None:
    ours, theirs = pair
    sent = fill(ours)
    tcp.reset_when_closed(ours)
    ours.close()
    received = 0
    with pytest.raises(ConnectionResetError):  # noqa: PT012 - what was there before the reset may still be read
        while octets := theirs.recv(65_536):
            received += len(octets)
    assert received < sent


def test_what_was_in_flight_is_still_known_once_the_other_end_has_reset(
    pair: tuple[socket.socket, socket.socket],
) -> None:
    ours, theirs = pair
    fill(ours)
    outstanding = tcp.unacknowledged_octets(ours)
    tcp.reset_when_closed(theirs)
    theirs.close()
    assert tcp.unacknowledged_octets(ours) == outstanding


def test_a_socket_that_is_no_connection_has_nothing_outstanding() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as other:
        assert tcp.unacknowledged_octets(other) == 0
    assert tcp.unacknowledged_octets(other) == 0
