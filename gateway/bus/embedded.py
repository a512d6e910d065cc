"""A broker inside the process, on loopback, for who has none yet: `bus: {broker: embedded}` (extra: broker).

It takes anyone who can reach loopback, keeps nothing on disk, and speaks MQTT 3.1.1. Only the gateway itself writes to
its own topics (`embedded_rights.py`), and what clients may cost is bounded (`embedded_streams.py`). It shares the
gateway's event loop: for more than a few screens in one house, run a broker of its own.
"""

import asyncio
import errno
import logging
import os
import socket
import struct
from collections.abc import Iterator, Sequence
from contextlib import AsyncExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Self

import structlog

from gateway.bus.embedded_login import OWN_PASSWORD, own_door
from gateway.groundwork.extras import adding

if TYPE_CHECKING:
    from amqtt.broker import Broker  # type: ignore[import-untyped] # it comes without types

    from gateway.bus.embedded_streams import Clients

LOOPBACK = "127.0.0.1"

NOT_INSTALLED = f"the embedded broker is not installed: {adding('broker')}, or name another as bus.broker"

STOP_SECONDS = 1.0
"""How long its clients' connections may take to end when it stops."""

_LISTENER = "default"

_log = structlog.get_logger("bus")


class EmbeddedBrokerError(Exception):
    """The broker cannot start; the message says why and what to do."""


class PortTakenError(EmbeddedBrokerError):
    """Something else listens there."""


class EmbeddedBroker:
    """`async with EmbeddedBroker(port) as broker`: it runs inside the block, at `broker.port`."""

    def __init__(self, port: int = 1883, kept: Sequence[str] = ()) -> None:
        """`port` 0 takes a free one. To topics that begin with one of `kept` only the gateway may write."""
        self.port = port
        self._asked_port = port
        self._kept = list(kept)
        self._broker: Broker | None = None
        self._clients: Clients | None = None
        self._lifetime = AsyncExitStack()

    async def __aenter__(self) -> Self:
        """Start it. Raises `EmbeddedBrokerError`."""
        async with AsyncExitStack() as starting:
            starting.enter_context(_quiet(logging.getLogger("amqtt"), logging.getLogger("transitions")))
            self._broker, self._clients = _new_broker(self._kept)
            await self._broker.start()
            starting.push_async_callback(self._broker.shutdown)
            server = await self._listen()
            starting.push_async_callback(_close, server)
            self.port = server.sockets[0].getsockname()[1]
            if door := own_door(self.port):
                starting.push_async_callback(_close, await asyncio.start_unix_server(self._take_own, door))
            starting.callback(self._clients.drop_all)
            self._lifetime = starting.pop_all()
        return self

    async def __aexit__(self, *_: object) -> None:
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
        if self._broker is None or self._clients is None:
            writer.close()
            return
        self._clients.enter(writer)
        try:
            if await self._clients.until_let_in(writer):
                await self._serve(self._broker, self._clients, reader, writer)
        finally:
            # The broker does not close a connection whose first words it does not understand.
            self._clients.leave(writer)

    async def _take_own(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """The gateway's own connection, if it is: it waits for nobody, and takes nobody's place."""
        if self._broker is None or self._clients is None or _process_at(writer) != os.getpid():
            writer.close()
            return
        self._clients.enter_own(writer)
        try:
            await self._serve(self._broker, self._clients, reader, writer)
        finally:
            self._clients.leave(writer)

    async def _serve(
        self, broker: "Broker", clients: "Clients", reader: asyncio.StreamReader, writer: asyncio.StreamWriter
    ) -> None:
        from gateway.bus.embedded_streams import BoundedReader, BoundedWriter  # noqa: PLC0415 - it needs an extra

        bounded = BoundedReader(reader, writer.transport, clients), BoundedWriter(writer, clients)
        try:
            await broker.external_connected(*bounded, _LISTENER)
        except Exception as error:  # noqa: BLE001 - a stranger's octets must cost no more than the connection
            _log.debug("a client of the embedded broker was let go", error=type(error).__name__)


def _new_broker(kept: list[str]) -> "tuple[Broker, Clients]":
    try:
        from amqtt.broker import Broker  # noqa: PLC0415 - an optional extra
    except ImportError:
        raise EmbeddedBrokerError(NOT_INSTALLED) from None
    from gateway.bus.embedded_rights import asked_of_writers_alone  # noqa: PLC0415 - as above
    from gateway.bus.embedded_streams import Clients  # noqa: PLC0415 - as above

    clients = Clients()
    rights = {"key": OWN_PASSWORD, "clients": clients, "kept": kept}
    settings = {
        # We listen and hand the connections on: so the port can be any free one, and a taken one is our own error.
        "listeners": {_LISTENER: {"type": "external"}},
        "plugins": {"gateway.bus.embedded_rights.Rights": rights},
    }
    broker = Broker(settings)
    broker.plugins_manager.map_plugin_topic = asked_of_writers_alone(broker.plugins_manager.map_plugin_topic)
    queue, tasks = broker._broadcast_queue, broker._tasks_queue  # noqa: SLF001 - nothing public tells how far behind it is
    # The broker looks at its tasks only when it hands on the next message: those that are done count no more.
    clients.under_way = lambda: queue.qsize() + sum(not task.done() for task in tasks)
    return broker, clients


def _process_at(writer: asyncio.StreamWriter) -> int:
    """The number of the process at the other end (Linux manual page unix(7), SO_PEERCRED)."""
    credentials = struct.Struct("3i")
    process: int = credentials.unpack(
        writer.get_extra_info("socket").getsockopt(socket.SOL_SOCKET, socket.SO_PEERCRED, credentials.size)
    )[0]
    return process


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
