"""One short conversation with a broker, under a name of its own: a running gateway's session stays."""

import secrets

import aiomqtt
from paho.mqtt.reasoncodes import ReasonCode

from gateway.bus.options import BusOptions, BusOptionsError
from gateway.bus.trouble import BrokerError, explain
from gateway.groundwork.part import Trouble

ANSWER_SECONDS = 3.0
"""A broker in the house answers within milliseconds."""


def client(options: BusOptions) -> aiomqtt.Client:
    """A client for one conversation. Raises `BusOptionsError` where its certificates cannot be used."""
    return aiomqtt.Client(
        options.host,
        options.port,
        identifier=f"stile-{secrets.token_hex(6)}",
        username=options.username,
        password=options.password,
        tls_context=None if options.tls is None else options.tls.context(),
        timeout=ANSWER_SECONDS,
        max_queued_incoming_messages=100,
    )


async def clear(options: BusOptions, topic: str) -> Trouble | None:
    """Let the broker forget what it retains of a topic; why it could not, where it could not."""
    try:
        async with client(options) as talking:
            await talking.publish(topic, b"", qos=1, retain=True)
    except (aiomqtt.MqttError, BusOptionsError, OSError) as error:
        return explained(error)
    return None


def explained(error: Exception) -> Trouble:
    """In the bus's own words: it knows the broker's codes and the system's errors."""
    cause = error.__cause__ or error
    if isinstance(cause, BusOptionsError | OSError):
        return explain(cause)
    return explain(BrokerError(type(error).__name__, reason_code(error)))


def reason_code(error: Exception) -> int | None:
    """The reason code with which the broker refused, where it gave one."""
    code = error.rc if isinstance(error, aiomqtt.MqttCodeError) else None
    return code.value if isinstance(code, ReasonCode) else None
