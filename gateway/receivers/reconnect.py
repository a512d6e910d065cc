"""Trying again for ever: a receiver whose other end may go away and come back, and how long it waits in between."""

import asyncio
import os
import random
import socket
from abc import abstractmethod
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import NoReturn

import structlog

from gateway.frames.heard import Run
from gateway.receivers.address import ReceiverAddress
from gateway.receivers.receiver import Deliver, Phase, Receiver

_log = structlog.get_logger()


class ConnectionEndedError(Exception):
    """There is no connection, or no longer; the message says why, in plain words."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a receiver waits for what. Times in seconds."""

    first_delay: float = 0.5
    longest_delay: float = 30.0
    connect: float = 10.0
    """How long a connection may take to come about."""

    settled: float = 10.0
    """A connection that lasted this long was a good one: the next delay is the first again."""

    sleep: Callable[[float], Awaitable[None]] = field(default=asyncio.sleep)
    random: Callable[[], float] = field(default=random.random)
    """From 0 to 1: how much of half of a delay is left out, lest many receivers of one decoder come at once."""


class BackOff:
    """Delays that double up to a cap, each shortened by up to half at random, and never nothing."""

    def __init__(self, patience: Patience) -> None:
        self._patience = patience
        self._next = patience.first_delay

    def delay(self) -> float:
        """The next delay in seconds."""
        delay = self._next
        self._next = min(2 * delay, self._patience.longest_delay)
        return delay * (1 - self._patience.random() / 2)

    def reset(self) -> None:
        """Begin with the first delay again."""
        self._next = self._patience.first_delay


class ReconnectingReceiver(Receiver):
    """A receiver that opens its place anew whenever it closes, whatever the other end does."""

    def __init__(
        self, name: str, address: ReceiverAddress, run: Run, deliver: Deliver, patience: Patience | None = None
    ) -> None:
        super().__init__(name, address, run, deliver)
        self._patience = patience or Patience()
        self._log = _log.bind(receiver=name, address=str(address))
        self._told = ""

    @abstractmethod
    async def _hear_once(self) -> NoReturn:
        """Open the place, call `_opened`, hear until it closes. Raises `ConnectionEndedError`, and nothing else."""

    async def listen(self) -> None:
        """Hear until cancelled."""
        back_off = BackOff(self._patience)
        try:
            while True:
                self._enter(Phase.CONNECTING, self._reason)
                try:
                    await self._hear_once()
                except ConnectionEndedError as ended:
                    if self._has_settled():
                        back_off.reset()
                    delay = back_off.delay()
                    self._tell(str(ended), delay)
                self._enter(Phase.WAITING, self._told)
                await self._patience.sleep(delay)
        finally:
            self._enter(Phase.STOPPED)

    def _opened(self) -> None:
        """The place is open: from now on it is heard."""
        self._counts.connects += 1
        self._enter(Phase.LISTENING)
        self._log.info("receiver listens")

    def _has_settled(self) -> bool:
        lasted_ms = self._run.now().elapsed_ms - self._since_ms
        return self._phase is Phase.LISTENING and lasted_ms >= self._patience.settled * 1000

    def _tell(self, reason: str, delay: float) -> None:
        """Log a loss once, not at every try: a decoder may be away for a month."""
        is_news = self._phase is Phase.LISTENING or reason != self._told
        self._told = reason
        log = self._log.warning if is_news else self._log.debug
        log("receiver does not listen", reason=reason, next_try_s=round(delay, 1))


def reason_of(error: OSError | UnicodeError) -> str:
    """Why the system refused, in its own words and without the address, which stands beside it."""
    if isinstance(error, socket.gaierror):
        return "the name of the host cannot be resolved"
    if isinstance(error, UnicodeError):
        return "the host's name is no name"
    return "the host does not answer" if error.errno is None else os.strerror(error.errno)
