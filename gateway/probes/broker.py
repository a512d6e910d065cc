"""An MQTT broker: whether it lets us in, and publish, read back and retain as the gateway does.

Asked in one conversation under a name of its own, so that a running gateway's session stays. What is written stands
under topics that nobody reads, and is cleared again.
"""

import asyncio
import contextlib
import secrets
from collections.abc import AsyncIterator, Sequence
from dataclasses import dataclass

import aiomqtt
from paho.mqtt.reasoncodes import ReasonCode

from gateway.bus.conversation import ANSWER_SECONDS, client, explained, reason_code
from gateway.bus.options import BusOptions, BusOptionsError
from gateway.bus.topics import Topics
from gateway.groundwork.hosts import connect, look_up
from gateway.groundwork.part import Trouble

TELL_SECONDS = 1.5
"""For the broker to pass a message on, or to tell what it retains: it says nowhere that it retains nothing."""

_TRIAL = b"a trial of `stile doctor`, cleared at once"
_FIRST_FAILURE = 128
"""Codes from here on refuse (MQTT 5.0 section 2.4)."""

_NOT_LET_IN = frozenset({134, 135})
"""Bad user name or password; not authorised (MQTT 5.0 section 2.4)."""

_ONLINE = b"online"


@dataclass(frozen=True, slots=True)
class TopicRights:
    """What became of one message published under a prefix, and asked for again."""

    filter: str
    """What the rights are needed for, as an access list writes it."""

    refuses_to_tell: bool = False
    """The broker does not let us subscribe."""

    came: bool = False
    """It came back while we listened."""

    retained: bool = False
    """Asked anew, the broker still had it."""


@dataclass(frozen=True, slots=True)
class BrokerFound:
    """What became of one conversation."""

    trouble: Trouble | None = None
    rights: tuple[TopicRights, ...] = ()
    refuses_login: bool = False
    """It is there, and does not let this user in."""

    gateway_online: bool = False
    """The gateway's own topic says that one is connected with this callsign and base."""


async def ask(options: BusOptions) -> BrokerFound:
    """Hold one conversation with the broker that `options` names."""
    topics = Topics(options.base, options.callsign)
    try:
        await _reach(options)
        async with client(options) as talking:
            messages = aiter(talking.messages)
            online = await _read(talking, messages, topics.status) == (_ONLINE, True)
            rights = [await _rights(talking, messages, topics.prefix)]
            if options.discovery is not None and rights[0].retained:
                rights.append(await _discovery_rights(talking, messages, options, options.discovery.prefix))
            return BrokerFound(None, tuple(rights), gateway_online=online)
    except (aiomqtt.MqttError, BusOptionsError, OSError) as error:
        return BrokerFound(explained(error), refuses_login=reason_code(error) in _NOT_LET_IN)


async def _reach(options: BusOptions) -> None:
    """Connect and leave: unlike what the client library raises, the system's error says why. Raises `OSError`."""
    context = None if options.tls is None else options.tls.context()
    endpoints = await look_up(options.host, options.port)
    connected = await connect(endpoints, seconds=ANSWER_SECONDS, prepare=lambda _: None)
    async with asyncio.timeout(ANSWER_SECONDS):
        name = None if context is None else options.host
        _, writer = await asyncio.open_connection(sock=connected, ssl=context, server_hostname=name)
    writer.transport.abort()
    with contextlib.suppress(OSError):
        await writer.wait_closed()


async def _rights(client: aiomqtt.Client, messages: AsyncIterator[aiomqtt.Message], prefix: str) -> TopicRights:
    topic, wanted = f"{prefix}/{_trial_name()}", f"{prefix}/#"
    if _refused(await client.subscribe(topic, 1)):
        return TopicRights(wanted, refuses_to_tell=True)
    await client.publish(topic, _TRIAL, 1)
    if await _next(messages, topic) is None:
        return TopicRights(wanted)
    await client.unsubscribe(topic)
    try:
        try:
            await client.publish(topic, _TRIAL, 1, retain=True)
            again = await _read(client, messages, topic)
        finally:
            await client.publish(topic, b"", 1, retain=True)
    except aiomqtt.MqttError:  # a broker that retains nothing may end the connection (MQTT 5.0 section 3.2.2.3.5)
        return TopicRights(wanted, came=True)
    return TopicRights(wanted, came=True, retained=again == (_TRIAL, True))


async def _discovery_rights(
    client: aiomqtt.Client, messages: AsyncIterator[aiomqtt.Message], options: BusOptions, prefix: str
) -> TopicRights:
    """A hub reads these topics, so nothing is left there, and the message is an empty one: a device that is gone."""
    topic, wanted = f"{prefix}/device/{options.client_identifier}/{_trial_name()}/config", f"{prefix}/device/#"
    if _refused(await client.subscribe(topic, 1)):
        return TopicRights(wanted, refuses_to_tell=True)
    await client.publish(topic, b"", 1)
    came = await _next(messages, topic) is not None
    return TopicRights(wanted, came=came, retained=came)


def _trial_name() -> str:
    return f"stile-trial-{secrets.token_hex(4)}"


async def _read(
    client: aiomqtt.Client, messages: AsyncIterator[aiomqtt.Message], topic: str
) -> tuple[bytes, bool] | None:
    """What the broker holds of a topic, and whether it is retained; None: nothing, or it does not tell."""
    if _refused(await client.subscribe(topic, 1)):
        return None
    try:
        return await _next(messages, topic)
    finally:
        await client.unsubscribe(topic)


async def _next(messages: AsyncIterator[aiomqtt.Message], topic: str) -> tuple[bytes, bool] | None:
    try:
        async with asyncio.timeout(TELL_SECONDS):
            async for message in messages:
                if message.topic.value == topic and isinstance(message.payload, bytes):
                    return message.payload, message.retain
    except TimeoutError:
        pass
    return None


def _refused(codes: Sequence[int | ReasonCode]) -> bool:
    return any((code.value if isinstance(code, ReasonCode) else code) >= _FIRST_FAILURE for code in codes)
