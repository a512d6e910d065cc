"""One connection to the broker: aiomqtt's client, made fit to be given up at any moment and to publish in batches."""

import asyncio
import logging
import math
import socket
import threading
from collections.abc import Awaitable
from concurrent.futures import Future, InvalidStateError
from types import TracebackType
from typing import Any, Self, TypeVar

import aiomqtt
from paho.mqtt.client import MQTT_ERR_SUCCESS, DisconnectFlags
from paho.mqtt.client import Client as PahoClient
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from gateway.bus.options import BusOptions
from gateway.bus.outbox import Message
from gateway.bus.station_topics import MAXIMUM_FOUND
from gateway.bus.topics import Topics

_T = TypeVar("_T")

ONLINE = b"online"
OFFLINE = b"offline"

SEND_BUFFER_OCTETS = 64 * 1024
"""Small, so that what waits for a broker that stalls waits in our queues, where it is counted, not in the kernel's."""

RECEIVED_AT_ONCE = 50
"""How many messages are taken before others in the event loop have their turn."""


class Connection(aiomqtt.Client):
    """Used once: `async with` it, then make another.

    Three things are done here that aiomqtt leaves open. A connection that is cancelled, or that fails half way, closes
    its socket at once. The blocking part of connecting runs in a thread that nobody waits for, so that a stop of the
    gateway does not hang on a host that does not answer. And `publish_soon` hands a message over without waiting, so
    that one `flush` does for a batch, at a fraction of the cost.

    aiomqtt's and paho's own log stay silent: they name topics and what was connected with. (Methods that take what
    paho calls them with have its types, `Any` among them.)
    """

    def __init__(self, options: BusOptions, topics: Topics, protocol: aiomqtt.ProtocolVersion) -> None:
        """Raises `BusOptionsError`."""
        super().__init__(
            options.host,
            options.port,
            username=options.username,
            password=options.password,
            logger=_silent_logger(),
            identifier=options.client_identifier,
            protocol=protocol,
            will=aiomqtt.Will(topics.status, OFFLINE, qos=1, retain=True),
            timeout=options.pace.connect,
            keepalive=options.pace.keep_alive,
            max_queued_incoming_messages=MAXIMUM_FOUND,
            tls_context=options.tls.context() if options.tls else None,
            socket_options=[
                (socket.IPPROTO_TCP, socket.TCP_NODELAY, 1),
                (socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_OCTETS),
            ],
        )
        self.protocol = protocol
        self.reached_broker = False
        """Whether the other end took the connection, whatever it said then."""

        self._topics = topics
        self._attempt: Future[None] = Future()
        self._loop_thread = threading.get_ident()
        self._all_out = asyncio.Event()
        self._all_out.set()
        self._answers_awaited = 0
        self._client.disable_logger()
        self._client.on_publish = None  # it is called for quality 0 too, and costs more than all the rest
        self._client.connect_timeout = options.pace.connect
        self._answer_seconds = options.pace.answer
        self._expiry = self._expiring(options.stations_forget_ms // 1000)

    async def __aenter__(self) -> Self:
        """Connect. Raises `MqttError`, with the system's error as its cause where there was one."""
        try:
            await super().__aenter__()
        except aiomqtt.MqttError as error:
            self._close()
            refusal = self._attempt.exception() if self._attempt.done() else None
            raise error from (refusal or error.__cause__)
        except BaseException:
            if not self._attempt.cancel():
                self._close()
            raise
        self.timeout = self._answer_seconds
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Take leave of the broker, or, after an error, close at once: then the broker publishes the will."""
        try:
            if error is None:
                await super().__aexit__(None, None, None)
        finally:
            self._close()

    def publish_soon(self, message: Message) -> None:
        """Hand over a message of quality 0 without waiting. Raises `MqttError` where the connection is gone."""
        properties = self._expiry if message.expires and message.payload else None
        self._all_out.clear()
        info = self._client.publish(message.topic, message.payload, 0, message.retain, properties)
        if info.rc != MQTT_ERR_SUCCESS:
            raise aiomqtt.MqttCodeError(info.rc, "the connection is gone")

    async def flush(self) -> None:
        """Write what was handed over, at once as far as the socket takes it, and wait until all of it is out.

        Raises `MqttError` where it cannot get out, or not in time.
        """
        self._write()
        if self._client.want_write():
            await self._wait_for(self._all_out.wait(), timeout=None)
        if self._disconnected.done():
            raise aiomqtt.MqttError("the connection is gone")

    async def publish_answered(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Publish at quality 1, and wait until the broker has it. Raises `MqttError`."""
        self._answers_awaited += 1
        self._client.on_publish = self._on_publish
        try:
            await self.publish(topic, payload, qos=1, retain=retain)
        finally:
            self._answers_awaited -= 1
            if not self._answers_awaited:
                self._client.on_publish = None

    async def received(self) -> list[aiomqtt.Message]:
        """Wait for a message; returns it with those that came along. Raises `MqttError` when the connection ends."""
        messages = [await anext(self.messages)]
        while len(messages) < RECEIVED_AT_ONCE and not self._queue.empty():
            messages.append(self._queue.get_nowait())
        return messages

    async def say(self, status: bytes) -> None:
        """Publish `status`, retained, and wait until the broker has it. Raises `MqttError`."""
        await self.publish_answered(self._topics.status, status, retain=True)

    async def _wait_for(self, fut: Awaitable[_T], timeout: float | None) -> _T:  # noqa: ASYNC109 - as aiomqtt has it
        """As aiomqtt's, but heeds a cancellation that comes together with what is awaited.

        `asyncio.wait_for` loses it (Python 3.11), and then whoever cancelled waits for ever.
        """
        seconds = self.timeout if timeout is None else timeout
        try:
            async with asyncio.timeout(None if seconds == math.inf else seconds):
                return await fut
        except TimeoutError:
            raise aiomqtt.MqttError("the broker does not answer") from None

    def _expiring(self, seconds: int) -> Properties | None:
        """Properties that make a retained message leave the broker even where the gateway never comes back."""
        if self.protocol is not aiomqtt.ProtocolVersion.V5:
            return None
        properties = Properties(PacketTypes.PUBLISH)  # type: ignore[no-untyped-call] # paho says not what it takes
        properties.MessageExpiryInterval = seconds
        return properties

    def _client_connect(self) -> None:
        """Wait, in aiomqtt's worker, for a thread of our own: giving up frees the worker, which a stop waits for."""
        threading.Thread(target=self._connect_in_thread, name="bus-connect", daemon=True).start()
        self._attempt.result()

    def _connect_in_thread(self) -> None:
        failure: Exception | None = None
        try:
            super()._client_connect()
        except OSError as error:
            failure = error
        except ValueError:
            failure = socket.gaierror(socket.EAI_NONAME, "a name that no resolver takes")
        self.reached_broker = failure is None
        try:
            if failure is None:
                self._attempt.set_result(None)
            else:
                self._attempt.set_exception(failure)
        except InvalidStateError:
            self._close_from_thread()

    def _close_from_thread(self) -> None:
        """Given up meanwhile: whatever the thread has set up in the loop is taken down there, after it."""
        try:
            self._loop.call_soon_threadsafe(self._close)
        except RuntimeError:
            # The loop is closed and holds nothing of ours any more.
            self._client.on_socket_close = self._client.on_socket_unregister_write = None
            self._client._sock_close()  # noqa: SLF001 - see `_close`

    def _close(self) -> None:
        """Close the socket and let go of the loop, whatever the state of the connection. Safe to call again."""
        if self._misc_task is not None:
            self._misc_task.cancel()
        # paho has no public way to drop a connection without a word, which is what makes the broker publish the will.
        self._client._sock_close()  # noqa: SLF001 - see above
        for outcome in (self._connected, self._disconnected):
            if outcome.done() and not outcome.cancelled():
                outcome.exception()  # asyncio complains of errors that nobody looked at

    def _write(self) -> None:
        try:
            self._client.loop_write()
        except Exception as error:  # noqa: BLE001 - whatever it is, the connection is over, as with aiomqtt's own writing
            if not self._disconnected.done():
                self._disconnected.set_exception(error)

    def _on_socket_register_write(self, client: PahoClient, userdata: Any, sock: Any) -> None:  # noqa: ANN401
        """Paho has something to write. The loop is told at once: `flush` may be through in the same step."""
        if threading.get_ident() == self._loop_thread:
            self._loop.add_writer(sock.fileno(), self._write)
        else:
            super()._on_socket_register_write(client, userdata, sock)

    def _on_socket_unregister_write(self, client: PahoClient, userdata: Any, sock: Any) -> None:  # noqa: ANN401
        """Paho has nothing left to write, or the socket is closed."""
        super()._on_socket_unregister_write(client, userdata, sock)
        self._all_out.set()

    def _on_disconnect(
        self,
        client: PahoClient,
        userdata: Any,  # noqa: ANN401
        flags: DisconnectFlags,
        reason_code: ReasonCode,
        properties: Properties | None = None,
    ) -> None:
        """A connection that ends before the broker's welcome has failed: aiomqtt would go on waiting for it."""
        if not self._connected.done():
            self._connected.set_exception(aiomqtt.MqttError("the broker closed the connection"))
        super()._on_disconnect(client, userdata, flags, reason_code, properties)


def _silent_logger() -> logging.Logger:
    logger = logging.Logger("gateway.bus.silent")  # noqa: LOG001 - on purpose none of the process's tree of loggers
    logger.disabled = True
    return logger
