"""How long a receiver waits between tries, and what it says meanwhile."""

import socket
from contextlib import suppress
from typing import NoReturn

import pytest
import structlog.testing

from gateway.receivers.address import parse
from gateway.receivers.receiver import ReceiverPhase
from gateway.receivers.reconnect import ConnectionEndedError, ReconnectingReceiver, reason_of
from tests.receivers.listening import Clock, Ear, at_once


class EnoughError(Exception):
    """The script of a test is at its end."""


class Scripted(ReconnectingReceiver):
    """A receiver whose connections go as a test says: None is refused, a number lasts so many seconds."""

    def __init__(self, clock: Clock, *connections: float | None) -> None:
        super().__init__("vhf", parse("kiss+tcp://127.0.0.1:7581"), clock.run(), Ear(), at_once(clock))
        self._clock = clock
        self._connections = iter(connections)
        self.phases: list[tuple[ReceiverPhase, str]] = []

    async def _hear_once(self) -> NoReturn:
        self.phases.append((self.phase, self.reason))
        try:
            lasts = next(self._connections)
        except StopIteration:
            raise EnoughError from None
        if lasts is None:
            raise ConnectionEndedError("refused")
        self._opened()
        self._clock.seconds += lasts
        raise ConnectionEndedError("closed")


async def delays_of(*connections: float | None) -> list[float]:
    clock = Clock()
    with suppress(EnoughError):
        await Scripted(clock, *connections).listen()
    return clock.slept


async def test_delays_double_up_to_the_longest() -> None:
    assert await delays_of(*[None] * 9) == [0.5, 1, 2, 4, 8, 16, 30, 30, 30]


async def test_a_connection_that_closes_at_once_is_waited_for_like_one_that_is_refused() -> None:
    assert await delays_of(*[0.0] * 8) == await delays_of(*[None] * 8)


async def test_after_a_connection_that_lasted_the_first_delay_is_taken_again() -> None:
    assert await delays_of(None, None, 3600.0, None, None) == [0.5, 1, 0.5, 1, 2]


async def test_after_a_connection_that_was_too_short_the_delays_go_on_growing() -> None:
    assert await delays_of(None, None, 9.9, None) == [0.5, 1, 2, 4]


async def test_while_it_tries_again_the_reason_stays_in_sight_and_a_stop_is_shown() -> None:
    receiver = Scripted(Clock(), None, 1.0)
    with suppress(EnoughError):
        await receiver.listen()
    assert receiver.phases == [
        (ReceiverPhase.CONNECTING, ""),
        (ReceiverPhase.CONNECTING, "refused"),
        (ReceiverPhase.CONNECTING, "closed"),
    ]
    assert receiver.phase is ReceiverPhase.STOPPED


async def test_a_decoder_that_is_away_for_long_is_logged_once() -> None:
    with structlog.testing.capture_logs() as logs, suppress(EnoughError):
        await Scripted(Clock(), *[None] * 500, 1.0, *[None] * 500).listen()
    loud = [(entry["event"], entry.get("reason")) for entry in logs if entry["log_level"] != "debug"]
    assert loud == [
        ("receiver does not listen", "refused"),
        ("receiver listens", None),
        ("receiver does not listen", "closed"),
        ("receiver does not listen", "refused"),
    ]


@pytest.mark.parametrize(
    ("error", "reason"),
    [
        (ConnectionRefusedError(111, "Connect call failed ('127.0.0.1', 7581)"), "Connection refused"),
        (TimeoutError(), "the host does not answer"),
        (TimeoutError(110, "Connection timed out"), "Connection timed out"),
        (socket.gaierror(socket.EAI_NONAME, "Name or service not known"), "the name of the host cannot be resolved"),
        (UnicodeError("label empty or too long"), "the host's name is no name"),
    ],
)
def test_reasons_are_plain_and_hold_no_address(error: OSError | UnicodeError, reason: str) -> None:
    assert reason_of(error) == reason
