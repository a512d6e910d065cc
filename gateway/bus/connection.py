"""One connection to the broker: paho's client, driven by the event loop, fit to be given up at any moment."""

import asyncio
import socket
import ssl
from collections import deque
from collections.abc import Awaitable, Callable
from contextlib import suppress
from types import TracebackType
from typing import NamedTuple, Self, TypeVar

from paho.mqtt.client import MQTT_ERR_SUCCESS, Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion, MQTTProtocolVersion
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from gateway.bus.embedded_login import OWN_IDENTIFIER
from gateway.bus.options import BusOptions
from gateway.bus.outbox import BusMessage
from gateway.bus.packet_size import HEAD_OCTETS, MAXIMUM_PACKET_OCTETS, hold_to_maximum
from gateway.bus.station_topics import MAXIMUM_FOUND
from gateway.bus.topics import Topics
from gateway.bus.trouble import BrokerError, ClosedError, PacketTooLargeError
from gateway.groundwork.own_thread import in_own_thread

_T = TypeVar("_T")

ONLINE = b"online"
OFFLINE = b"offline"

SEND_BUFFER_OCTETS = 64 * 1024
"""Small, so that what waits for a broker that stalls waits in our queues, where it is counted, not in the kernel's."""

RECEIVED_AT_ONCE = 50
"""How many messages are taken before others in the event loop have their turn."""

MISCELLANY_SECONDS = 1.0
"""How often paho looks whether it is time to ask the broker for a sign of life."""


class Received(NamedTuple):
    """A message that the broker sent."""

    topic: str
    payload: bytes
    retain: bool


class BrokerConnection:
    """Used once: `async with` it, then make another.

    The blocking part of connecting runs in a thread that nobody waits for, so that a stop of the gateway does not hang
    on a host that does not answer. A connection that is cancelled, or that fails half way, closes its socket at once.
    `publish_soon` hands a message over without waiting, so that one `flush` does for a batch at a fraction of the cost.
    """

    def __init__(self, options: BusOptions, topics: Topics, protocol: MQTTProtocolVersion) -> None:
        """Raises `BusOptionsError`."""
        self.reached_broker = False
        """Whether the other end took the connection, whatever it said then."""

        self.maximum_octets: int | None = None
        """The largest packet that the broker takes, where it says so (MQTT 5.0 section 3.2.2.3.6)."""

        self._options = options
        self._topics = topics
        self._loop = asyncio.get_running_loop()
        self._socket: socket.socket | None = None
        self._miscellany: asyncio.TimerHandle | None = None
        self._is_given_up = False
        self._ended: BrokerError | None = None
        self._welcome: asyncio.Future[None] = self._loop.create_future()
        self._answers: dict[int, asyncio.Future[None]] = {}
        self._watches_for_room = False
        self._received: deque[Received] = deque()
        self._has_received = asyncio.Event()
        self._all_out = asyncio.Event()
        self._all_out.set()
        self._flush_is_due = False
        """Whether messages were handed over that `flush` will write: nobody need watch the socket for them."""

        self._is_5 = protocol is MQTTProtocolVersion.MQTTv5
        seconds = options.stations_forget_ms // 1000
        self._expiry = _properties(PacketTypes.PUBLISH, MessageExpiryInterval=seconds) if self._is_5 else None
        """With it a retained message leaves the broker even where the gateway never comes back."""

        self._client = self._new_client(protocol)

    def _new_client(self, protocol: MQTTProtocolVersion) -> Client:
        options = self._options
        client = Client(
            CallbackAPIVersion.VERSION2,
            OWN_IDENTIFIER if options.own_door else options.client_identifier,
            protocol=protocol,
            transport="unix" if options.own_door else "tcp",
            reconnect_on_failure=False,
        )
        client.connect_timeout = options.pace.connect
        client.will_set(self._topics.status, OFFLINE, qos=1, retain=True)
        if options.username is not None:
            client.username_pw_set(options.username, options.password)
        if options.tls is not None:
            client.tls_set_context(options.tls.context())
        client.on_connect = self._on_connect
        client.on_disconnect = self._on_disconnect
        client.on_message = self._on_message
        client.on_subscribe = client.on_unsubscribe = self._on_answer
        client.on_socket_open = self._on_socket_open
        client.on_socket_close = self._on_socket_close
        client.on_socket_register_write = self._on_socket_register_write
        client.on_socket_unregister_write = self._on_socket_unregister_write
        return client

    async def __aenter__(self) -> Self:
        """Connect. Raises `BrokerError`, with the system's error as its cause where there was one."""
        try:
            await in_own_thread(self._connect)
            self.reached_broker = True
            self._take_over()
            async with asyncio.timeout(self._options.pace.connect):
                await self._welcome
        except BaseException as error:
            self._close()
            if isinstance(error, OSError):  # TimeoutError is one
                raise BrokerError("the broker cannot be reached, or does not answer") from error
            raise
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Take leave of the broker, or, after an error, close at once: then the broker publishes the will."""
        try:
            if error is None:
                self._client.disconnect()
                with suppress(BrokerError):
                    await self.flush()
        finally:
            self._close()

    def publish_soon(self, message: BusMessage) -> None:
        """Hand over a message of quality 0 without waiting. Raises `BrokerError` where the connection is gone."""
        properties = self._expiry if message.expires and message.payload else None
        self._all_out.clear()
        self._flush_is_due = True
        self._sent(self._client.publish(message.topic, message.payload, 0, message.retain, properties).rc)

    async def flush(self) -> None:
        """Write what was handed over, at once as far as the socket takes it, and wait until all of it is out.

        Raises `BrokerError` where it cannot get out, or not in time.
        """
        self._flush_is_due = False
        self._write()
        if self._client.want_write() and self._ended is None:
            self._watch_for_room()
            await self._in_time(self._all_out.wait())
        if self._ended is not None:
            raise self._ended

    async def publish_answered(self, topic: str, payload: bytes, *, retain: bool) -> None:
        """Publish at quality 1, and wait until the broker has it. Raises `BrokerError`."""
        # Where it is set it is called for quality 0 too, and costs more than all the rest.
        self._client.on_publish = self._on_answer
        info = self._client.publish(topic, payload, 1, retain)
        self._sent(info.rc)
        await self._answer_to(info.mid)

    async def say(self, status: bytes) -> None:
        """Publish `status`, retained, and wait until the broker has it. Raises `BrokerError`."""
        await self.publish_answered(self._topics.status, status, retain=True)

    async def subscribe(self, topics: list[tuple[str, int]]) -> None:
        """Ask for the messages of topics, each with its quality. Raises `BrokerError`."""
        code, message_id = self._client.subscribe(topics)
        self._sent(code)
        await self._answer_to(message_id)

    async def unsubscribe(self, topics: list[str]) -> None:
        """Ask for them no longer. Raises `BrokerError`."""
        code, message_id = self._client.unsubscribe(topics)
        self._sent(code)
        await self._answer_to(message_id)

    async def received(self) -> list[Received]:
        """Wait for a message; returns it with those that came along. Raises `BrokerError` when the connection ends."""
        await self._has_received.wait()
        if self._ended is not None:
            raise self._ended
        messages = [self._received.popleft() for _ in range(min(len(self._received), RECEIVED_AT_ONCE))]
        if not self._received:
            self._has_received.clear()
        return messages

    def _sent(self, code: int | None) -> None:
        if code != MQTT_ERR_SUCCESS:
            raise self._ended or BrokerError("the connection is gone")

    async def _answer_to(self, message_id: int | None) -> None:
        if self._ended is not None or message_id is None:
            raise self._ended or BrokerError("the connection is gone")
        answer = self._answers[message_id] = self._loop.create_future()
        try:
            await self._in_time(answer)
        finally:
            self._answers.pop(message_id, None)
            if not self._answers:
                self._client.on_publish = None

    async def _in_time(self, awaited: Awaitable[_T]) -> _T:
        """Await, within the time that the broker has for an answer. Heeds a cancellation that comes along with it."""
        try:
            async with asyncio.timeout(self._options.pace.answer):
                return await awaited
        except TimeoutError:
            raise BrokerError("the broker does not answer") from None

    def takes(self, message: BusMessage) -> bool:
        """Whether the broker takes a message of this size, as far as it has said so."""
        octets = HEAD_OCTETS + len(message.topic.encode()) + len(message.payload)
        return self.maximum_octets is None or octets <= self.maximum_octets

    def _connect(self) -> None:
        """Connect, in a thread of its own. Raises `OSError`."""
        options = self._options
        properties = _properties(PacketTypes.CONNECT, MaximumPacketSize=MAXIMUM_PACKET_OCTETS) if self._is_5 else None
        try:
            host = options.own_door or options.host
            self._client.connect(host, options.port, options.pace.keep_alive, properties=properties)
        except OSError:
            raise  # an untrusted certificate is a ValueError, too
        except ValueError:  # UnicodeError is one
            raise socket.gaierror(socket.EAI_NONAME, "a name that no resolver takes") from None
        if self._is_given_up:  # meanwhile; whoever gives up later closes what is there
            self._drop()

    def _take_over(self) -> None:
        """The connection stands: from now on the event loop drives it."""
        taken = self._client.socket()
        if not isinstance(taken, socket.socket):
            raise BrokerError("the connection is gone")
        self._socket = taken
        if taken.family != socket.AF_UNIX:
            taken.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER_OCTETS)
        self._loop.add_reader(taken, self._read)
        self._miscellany = self._loop.call_later(MISCELLANY_SECONDS, self._misc)
        self._write()

    def _close(self) -> None:
        """Close the socket and let go of the loop, whatever the state of the connection. Safe to call again."""
        self._is_given_up = True
        self._end(BrokerError("the connection was given up"))
        self._let_go()
        self._drop()

    def _let_go(self) -> None:
        if self._miscellany is not None:
            self._miscellany.cancel()
        if self._socket is not None:
            self._loop.remove_reader(self._socket)
            self._loop.remove_writer(self._socket)
            self._socket = None

    def _drop(self) -> None:
        """Close it without a word: then the broker publishes the will."""
        client_socket = self._client.socket()
        if isinstance(client_socket, socket.socket):
            client_socket.close()

    def _end(self, error: BrokerError) -> None:
        """The connection is over: whoever waits for something of it learns why. Only the first reason counts."""
        if self._ended is not None:
            return
        self._ended = error
        for waiting in (self._welcome, *self._answers.values()):
            if not waiting.done():
                waiting.set_exception(error)
        if self._welcome.done() and not self._welcome.cancelled():
            self._welcome.exception()  # asyncio complains of errors that nobody looked at
        self._all_out.set()
        self._has_received.set()

    def _read(self) -> None:
        self._drive(self._client.loop_read)
        while isinstance(self._socket, ssl.SSLSocket) and self._socket.pending() and self._ended is None:
            self._drive(self._client.loop_read)  # the socket shows nothing of what TLS has read already

    def _write(self) -> None:
        self._drive(self._client.loop_write)

    def _watch_for_room(self) -> None:
        """Write on as soon as the socket takes more."""
        if self._socket is not None:
            self._watches_for_room = True
            self._loop.add_writer(self._socket, self._write)

    def _misc(self) -> None:
        self._miscellany = self._loop.call_later(MISCELLANY_SECONDS, self._misc)
        self._drive(self._client.loop_misc)

    def _drive(self, step: Callable[[], object]) -> None:
        try:
            step()
        except PacketTooLargeError as error:
            self._let_go()  # nothing more of it is read
            self._end(error)
        except Exception as error:  # noqa: BLE001 - whatever the broker said that paho cannot take, it is over
            broke = BrokerError("the connection broke")
            broke.__cause__ = error
            self._end(broke)

    # What paho calls: in the event loop, or, before `_take_over`, in the thread that connects.

    def _on_connect(self, _client: Client, _data: object, _flags: object, code: ReasonCode, properties: object) -> None:
        self.maximum_octets = getattr(properties, "MaximumPacketSize", None)  # there where the broker sent it
        if code.is_failure:
            self._end(BrokerError("the broker refuses the connection", int(code.value)))
        elif not self._welcome.done():
            self._welcome.set_result(None)

    def _on_disconnect(self, _client: Client, _data: object, _flags: object, code: ReasonCode, _more: object) -> None:
        closed = "the broker closed the connection"
        self._end(ClosedError(closed, int(code.value)) if self._welcome.done() else BrokerError(closed))

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        if len(self._received) < MAXIMUM_FOUND:
            self._received.append(Received(message.topic, bytes(message.payload), message.retain))
            self._has_received.set()

    def _on_answer(self, _client: Client, _data: object, message_id: int, _codes: object, _more: object) -> None:
        answer = self._answers.get(message_id)
        if answer is not None and not answer.done():
            answer.set_result(None)

    def _on_socket_open(self, _client: Client, _data: object, opened: object) -> None:
        if isinstance(opened, socket.socket):
            hold_to_maximum(opened)

    def _on_socket_close(self, _client: Client, _data: object, _socket: object) -> None:
        self._let_go()

    def _on_socket_register_write(self, _client: Client, _data: object, _socket: object) -> None:
        if not self._flush_is_due:
            self._watch_for_room()

    def _on_socket_unregister_write(self, _client: Client, _data: object, _socket: object) -> None:
        if self._socket is not None and self._watches_for_room:
            self._watches_for_room = False
            self._loop.remove_writer(self._socket)
        self._all_out.set()


def _properties(packet: int, **values: int) -> Properties:
    """The properties of an MQTT 5 packet of that type, by their names in the standard."""
    properties = Properties(packet)  # type: ignore[no-untyped-call] # paho says not what it takes
    for name, value in values.items():
        setattr(properties, name, value)
    return properties
