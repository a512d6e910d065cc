"""Datagrams that decoders send here, from the senders that are allowed."""

import asyncio
import socket
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import NoReturn

from gateway.frames.heard import Run
from gateway.receivers.address import AddressError, HostPort, ReceiverAddress, allowed_senders
from gateway.receivers.framing import FRAMINGS, Framing, PortAndFrame
from gateway.receivers.names import look_up
from gateway.receivers.receiver import Deliver
from gateway.receivers.reconnect import ConnectionEndedError, Patience, ReconnectingReceiver, reason_of

_LONGEST_DATAGRAM = 65535
"""UDP has none longer: a frame is never cut by the reading of it."""

_DATAGRAMS_AT_A_TIME = 64
"""How many are taken, at most, before the other tasks get their turn."""

_REMEMBERED_SENDERS = 256

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
        ignored_before = self._counts.ignored
        while True:
            first = await loop.sock_recvfrom(listening, _LONGEST_DATAGRAM)
            frames: list[PortAndFrame] = []
            for data, sender in (first, *_waiting_already(listening)):
                self._counts.octets += len(data)
                if self._is_allowed(sender[0]):
                    frames += framing.feed(data)
                else:
                    self._counts.passed_over += 1
            self._counts.ignored = ignored_before + framing.ignored
            self._hand_on(frames)
            await asyncio.sleep(0)

    def _is_allowed(self, host: str) -> bool:
        known = self._verdicts.get(host)
        if known is None:
            sender = _plain_address(host)
            known = any(sender in network for network in self._allowed)
            if len(self._verdicts) >= _REMEMBERED_SENDERS:
                self._verdicts.clear()  # someone forges senders: begin again rather than grow
            self._verdicts[host] = known
        return known


@asynccontextmanager
async def _listening(place: HostPort) -> AsyncIterator[socket.socket]:
    """A socket that listens at `place`. Raises `OSError` or `UnicodeError`."""
    family, address = (await look_up(place, socket.SOCK_DGRAM))[0]
    with socket.socket(family, socket.SOCK_DGRAM) as listening:
        listening.setblocking(False)
        listening.bind(address)
        yield listening


def _waiting_already(listening: socket.socket) -> list[_Datagram]:
    """The datagrams that came meanwhile: what a burst brought is handed on together."""
    datagrams: list[_Datagram] = []
    while len(datagrams) < _DATAGRAMS_AT_A_TIME - 1:
        try:
            datagrams.append(listening.recvfrom(_LONGEST_DATAGRAM))
        except (BlockingIOError, InterruptedError):
            break
    return datagrams


def _plain_address(host: str) -> IPv4Address | IPv6Address:
    """The address of a sender; what a socket of both kinds shows as IPv6 is the IPv4 address in it (RFC 4291)."""
    address = ip_address(host.partition("%")[0])
    return getattr(address, "ipv4_mapped", None) or address
