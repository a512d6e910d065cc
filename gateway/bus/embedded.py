"""A broker inside the process, on loopback, for who has none yet: `bus: {broker: embedded}` (extra: broker).

It takes anyone who can reach loopback, keeps nothing on disk, and speaks MQTT 3.1.1. It shares the gateway's event
loop: for more than a few screens in one house, run a broker of its own.
"""

import asyncio
import errno
import logging
from collections.abc import Iterator
from contextlib import AsyncExitStack, contextmanager, suppress
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from amqtt.broker import Broker  # type: ignore[import-untyped] # it comes without types

LOOPBACK = "127.0.0.1"

NOT_INSTALLED = "the embedded broker is not installed: pip install 'stile[broker]', or name another as bus.broker"

STOP_SECONDS = 1.0
"""How long its clients' connections may take to end when it stops."""

_LISTENER = "default"

_SETTINGS = {
    # We listen and hand the connections on: so the port can be any free one, and a taken one is an error of our own.
    "listeners": {_LISTENER: {"type": "external"}},
    "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
}


class EmbeddedBrokerError(Exception):
    """The broker cannot start; the message says why and what to do."""


class PortTakenError(EmbeddedBrokerError):
    """Something else listens there."""


class EmbeddedBroker:
    """`async with EmbeddedBroker(port) as broker`: it runs inside the block, at `broker.port`."""

    def __init__(self, port: int = 1883) -> None:
        """`port` 0 takes a free one."""
        self.port = port
        self._asked_port = port
        self._broker: Broker | None = None
        self._connections: set[asyncio.StreamWriter] = set()
        self._lifetime = AsyncExitStack()

    async def __aenter__(self) -> Self:
        """Start it. Raises `EmbeddedBrokerError`."""
        async with AsyncExitStack() as starting:
            starting.enter_context(_quiet(logging.getLogger("amqtt"), logging.getLogger("transitions")))
            self._broker = _new_broker()
            await self._broker.start()
            starting.push_async_callback(self._broker.shutdown)
            server = await self._listen()
            starting.push_async_callback(_close, server)
            starting.callback(self._drop_connections)
            self.port = server.sockets[0].getsockname()[1]
            self._lifetime = starting.pop_all()
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await self._lifetime.aclose()

    async def _listen(self) -> asyncio.Server:
        try:
            return await asyncio.start_server(self._take, LOOPBACK, self._asked_port)
        except OSError as error:
            if error.errno == errno.EADDRINUSE:
                raise PortTakenError(
                    f"port {self._asked_port} is taken, perhaps by a broker: name that one as bus.broker"
                ) from None
            raise EmbeddedBrokerError(f"cannot listen on port {self._asked_port}: {error.strerror}") from None

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        from amqtt.adapters import (  # type: ignore[import-untyped] # noqa: PLC0415 - an optional extra, without types
            StreamReaderAdapter,
        )

        from gateway.bus.embedded_writer import BoundedWriter  # noqa: PLC0415 - as above

        self._connections.add(writer)
        try:
            if self._broker is not None:
                await self._broker.external_connected(StreamReaderAdapter(reader), BoundedWriter(writer), _LISTENER)
        finally:
            # The broker does not close a connection whose first words it does not understand.
            self._connections.discard(writer)
            writer.close()

    def _drop_connections(self) -> None:
        for writer in self._connections:
            writer.transport.abort()


def _new_broker() -> "Broker":
    try:
        from amqtt.broker import Broker  # noqa: PLC0415 - an optional extra
    except ImportError:
        raise EmbeddedBrokerError(NOT_INSTALLED) from None
    return Broker(_SETTINGS)


async def _close(server: asyncio.Server) -> None:
    server.close()
    with suppress(TimeoutError):
        async with asyncio.timeout(STOP_SECONDS):
            await server.wait_closed()


@contextmanager
def _quiet(*loggers: logging.Logger) -> Iterator[None]:
    """It logs what it carries: payloads, topics and every step of a connection."""
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)
