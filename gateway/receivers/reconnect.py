"""Trying again for ever: a receiver whose other end may go away and come back, and how long it waits in between."""

import asyncio
import os
import socket
from abc import abstractmethod
from collections.abc import Awaitable, Callable
from dataclasses import dataclass, field
from typing import NoReturn

from gateway.frames.heard import Run
from gateway.groundwork.back_off import BackOff, Pauses
from gateway.receivers.address import ReceiverAddress
from gateway.receivers.receiver import Deliver, Receiver, ReceiverPhase


class ConnectionEndedError(Exception):
    """There is no connection, or no longer; the message says why, in plain words."""


@dataclass(frozen=True, slots=True)
class Patience:
    """How long a receiver waits for what. Times in seconds."""

    pauses: Pauses = Pauses(first=0.5, longest=30.0, steady=10.0)
    connect: float = 10.0
    sleep: Callable[[float], Awaitable[None]] = field(default=asyncio.sleep)


class ReconnectingReceiver(Receiver):
    """A receiver that opens its place anew whenever it closes, whatever the other end does."""

    def __init__(
        self, name: str, address: ReceiverAddress, run: Run, deliver: Deliver, patience: Patience | None = None
    ) -> None:
        super().__init__(name, address, run, deliver)
        self._patience = patience or Patience()
        self._lost_because = ""

    @abstractmethod
    async def _hear_once(self) -> NoReturn:
        """Open the place, call `_opened`, hear until it closes. Raises `ConnectionEndedError`, and nothing else."""

    async def listen(self) -> None:
        """Hear until cancelled."""
        back_off = BackOff(self._patience.pauses)
        try:
            while True:
                self._enter(ReceiverPhase.CONNECTING, self.reason)
                try:
                    await self._hear_once()
                except ConnectionEndedError as ended:
                    pause = back_off.failed(self._stood_seconds())
                    self._say_lost(str(ended), pause)
                self._enter(ReceiverPhase.WAITING, self._lost_because)
                await self._patience.sleep(pause)
        finally:
            self._enter(ReceiverPhase.STOPPED)

    def _opened(self) -> None:
        """The place is open: from now on it is heard."""
        self.counts.connections += 1
        self._enter(ReceiverPhase.LISTENING)
        self._log.info("receiver listens")

    def _stood_seconds(self) -> float:
        return (self._run.now().elapsed_ms - self._since_ms) / 1000 if self.phase is ReceiverPhase.LISTENING else 0.0

    def _say_lost(self, reason: str, pause: float) -> None:
        """Log a loss once, not at every try: a decoder may be away for a month."""
        is_news = self.phase is ReceiverPhase.LISTENING or reason != self._lost_because
        self._lost_because = reason
        log = self._log.warning if is_news else self._log.debug
        log("receiver does not listen", reason=reason, next_try_s=round(pause, 1))


def reason_of(error: OSError | UnicodeError) -> str:
    """Why the system refused, in its own words and without the address, which stands beside it."""
    if isinstance(error, socket.gaierror):
        return "the name of the host cannot be resolved"
    if isinstance(error, UnicodeError):
        return "the host's name is no name"
    return "the host does not answer" if error.errno is None else os.strerror(error.errno)
