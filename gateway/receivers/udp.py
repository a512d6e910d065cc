"""Datagrams that decoders send here, from the senders that are allowed."""

import asyncio
import socket
import struct
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from typing import NoReturn

from gateway.frames.heard import Run
from gateway.groundwork.hosts import look_up
from gateway.groundwork.loopback import plain_address
from gateway.receivers.address import AddressError, HostPort, ReceiverAddress, allowed_senders
from gateway.receivers.framing import FRAMINGS, Framing, PortAndFrame
from gateway.receivers.receiver import Deliver
from gateway.receivers.reconnect import ConnectionEndedError, Patience, ReconnectingReceiver, reason_of

_LONGEST_DATAGRAM = 65535
"""UDP has none longer: a frame is never cut by the reading of it."""

_DATAGRAMS_AT_A_TIME = 64
"""How many are taken, at most, before the other tasks get their turn."""

_REMEMBERED_SENDERS = 256

SAY_MS = 60_000
"""How often datagrams that are not heard are logged, at most."""

_SO_MEMINFO = 55
_MEMINFO = struct.Struct("=9I")
"""What the system says of a socket's memory; the last number is how many datagrams it dropped (Linux, asm/socket.h and
linux/sock_diag.h: SO_MEMINFO, SK_MEMINFO_DROPS)."""

_Datagram = tuple[bytes, tuple[str, int]]


class DatagramReceiver(ReconnectingReceiver):
    """Hears one UDP port. `allow` names addresses or networks; without it, this computer alone is heard."""

    def __init__(  # noqa: PLR0913 - what every receiver takes, and two of its own
        self,
        name: str,
        address: ReceiverAddress,
        run: Run,
        deliver: Deliver,
        *,
        allow: Sequence[str] = (),
        patience: Patience | None = None,
    ) -> None:
        """Raises `AddressError` where `allow` is wrong or missing."""
        super().__init__(name, address, run, deliver, patience)
        if not isinstance(address.place, HostPort):
            raise AddressError(f"{address} is no udp address")
        self._place = address.place
        self._allowed = allowed_senders(address, allow)
        self._verdicts: dict[str, bool] = {}
        self._said_ms: dict[str, int] = {}
        self.port: int | None = None
        """The port that is listened on, once it is."""

    async def _hear_once(self) -> NoReturn:
        try:
            async with _listening(self._place) as listening:
                self.port = listening.getsockname()[1]
                self._opened()
                await self._hear(listening, FRAMINGS[self.address.scheme]())
        except (OSError, UnicodeError) as error:
            raise ConnectionEndedError(reason_of(error)) from error

    async def _hear(self, listening: socket.socket, framing: Framing) -> NoReturn:
        loop = asyncio.get_running_loop()
        ignored_before, dropped_before = self.counts.ignored, self.counts.dropped
        while True:
            first = await loop.sock_recvfrom(listening, _LONGEST_DATAGRAM)
            frames: list[PortAndFrame] = []
            last = b""
            datagrams = (first, *_waiting_already(listening))
            for data, sender in datagrams:
                if self._is_allowed(sender[0]):
                    self.counts.octets += len(data)
                    frames += framing.feed(data)
                    last = data
                else:
                    self._refuse(sender[0])
            self.counts.ignored = ignored_before + framing.ignored
            self._note_dropped(dropped_before + dropped_by_system(listening))
            self._hand_on(frames, emptied=len(datagrams) < _DATAGRAMS_AT_A_TIME)
            if not self._has_heard:
                self._suspect(last)
            await asyncio.sleep(0)

    def _refuse(self, host: str) -> None:
        """A sender is not allowed: its datagram is counted."""
        self.counts.not_allowed += 1
        self._not_allowed_last = host
        self._say("datagrams of senders that are not allowed", count=self.counts.not_allowed, last=host)

    def _note_dropped(self, dropped: int) -> None:
        """The system has dropped so many datagrams in all: they came faster than they could be read."""
        if dropped > self.counts.dropped:
            self.counts.dropped = dropped
            self._say("datagrams came faster than they could be read: some were dropped", count=dropped)

    def _say(self, what: str, **fields: object) -> None:
        """Log it, but not at each datagram, lest a flood fill the log."""
        now_ms = self._run.now().elapsed_ms
        if what not in self._said_ms or now_ms - self._said_ms[what] >= SAY_MS:
            self._said_ms[what] = now_ms
            self._log.warning(what, **fields)

    def _is_allowed(self, host: str) -> bool:
        verdict = self._verdicts.get(host)
        if verdict is None:
            sender = plain_address(host)
            verdict = sender is not None and any(sender in network for network in self._allowed)
            if len(self._verdicts) >= _REMEMBERED_SENDERS:
                self._verdicts.clear()  # someone forges senders: begin again rather than grow
            self._verdicts[host] = verdict
        return verdict


@asynccontextmanager
async def _listening(place: HostPort) -> AsyncIterator[socket.socket]:
    """A socket that listens at `place`. Raises `OSError` or `UnicodeError`."""
    family, address = (await look_up(place.host, place.port, socket.SOCK_DGRAM))[0]
    with socket.socket(family, socket.SOCK_DGRAM) as listening:
        listening.setblocking(False)
        listening.bind(address)
        yield listening


def dropped_by_system(listening: socket.socket) -> int:
    """How many datagrams the system dropped since the socket was opened; 0 where it does not say."""
    try:
        *_, dropped = _MEMINFO.unpack(listening.getsockopt(socket.SOL_SOCKET, _SO_MEMINFO, _MEMINFO.size))
    except (OSError, struct.error):  # an older Linux, or another system
        return 0
    return int(dropped)


def _waiting_already(listening: socket.socket) -> list[_Datagram]:
    """The datagrams that came meanwhile: what a burst brought is handed on together."""
    datagrams: list[_Datagram] = []
    while len(datagrams) < _DATAGRAMS_AT_A_TIME - 1:
        try:
            datagrams.append(listening.recvfrom(_LONGEST_DATAGRAM))
        except (BlockingIOError, InterruptedError):
            break
    return datagrams
