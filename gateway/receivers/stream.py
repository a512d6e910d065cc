"""A decoder at the other end of a stream of bytes: a TCP or Unix socket, or a serial line."""

import asyncio
from collections.abc import Callable
from contextlib import AbstractAsyncContextManager, AsyncExitStack
from typing import NoReturn

from gateway.frames.heard import Run
from gateway.receivers.address import ReceiverAddress
from gateway.receivers.framing import FRAMINGS, Framing
from gateway.receivers.other_language import LOOKED_AT
from gateway.receivers.receiver import READ_OCTETS, Deliver
from gateway.receivers.reconnect import ConnectionEndedError, Patience, ReconnectingReceiver, reason_of

Connect = Callable[[], AbstractAsyncContextManager[asyncio.StreamReader]]
"""Opens a new connection each time and closes it on the way out.

Entering it raises `OSError`, `UnicodeError` or `ConnectionEndedError`."""


class StreamReceiver(ReconnectingReceiver):
    """Hears one stream; `connect` makes the connections. Nothing is ever written to one."""

    def __init__(  # noqa: PLR0913 - what every receiver takes, and two of its own
        self,
        name: str,
        address: ReceiverAddress,
        run: Run,
        deliver: Deliver,
        *,
        connect: Connect,
        patience: Patience | None = None,
    ) -> None:
        super().__init__(name, address, run, deliver, patience)
        self._connect = connect
        self._framing = FRAMINGS[address.scheme]

    async def _hear_once(self) -> NoReturn:
        async with AsyncExitStack() as stack:
            reader = await self._open(stack)
            self._opened()
            await self._hear(reader, self._framing())

    async def _open(self, stack: AsyncExitStack) -> asyncio.StreamReader:
        try:
            async with asyncio.timeout(self._patience.connect) as limit:
                return await stack.enter_async_context(self._connect())
        except (OSError, UnicodeError) as error:  # TimeoutError is an OSError
            if limit.expired():
                raise ConnectionEndedError(f"no connection within {self._patience.connect:g} s") from None
            raise ConnectionEndedError(reason_of(error)) from error

    async def _hear(self, reader: asyncio.StreamReader, framing: Framing) -> NoReturn:
        ignored_before = self.counts.ignored
        tail = b""
        while True:
            try:
                data = await reader.read(READ_OCTETS)
            except OSError as error:
                raise ConnectionEndedError(reason_of(error)) from error
            if not data:
                raise ConnectionEndedError("the other end closed the connection")
            self.counts.octets += len(data)
            frames = framing.feed(data)
            self.counts.ignored = ignored_before + framing.ignored
            self._hand_on(frames, emptied=len(data) < READ_OCTETS)
            if not self._has_heard:
                tail = (tail + data)[-LOOKED_AT:]
                self._suspect(tail)
            if len(data) == READ_OCTETS:
                await asyncio.sleep(0)  # more may be there already, and reading it would not give the others a turn
