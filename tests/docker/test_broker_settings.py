"""mosquitto.conf in a real mosquitto, asked and told by mosquitto's own clients."""

import asyncio
import re
from collections.abc import AsyncIterator
from pathlib import Path

import aiomqtt
import pytest

from tests.docker.reading import FOLDER, compose
from tests.mosquitto_broker import Login, MosquittoBroker, retained

pytestmark = pytest.mark.needs("mosquitto", "mosquitto")

LINES = [line for line in (FOLDER / "mosquitto.conf").read_text("utf-8").splitlines() if line and line[0] != "#"]
HOUSE = Login("stile", "a-throw-away-password")


def setting(name: str) -> str:
    (found,) = [line.partition(" ")[2] for line in LINES if line.startswith(f"{name} ")]
    return found


@pytest.fixture
async def broker(tmp_path: Path) -> AsyncIterator[MosquittoBroker]:
    """As in the container, but for the port, and where its data and its users are."""
    elsewhere = ("listener", "allow_anonymous", "password_file", "acl_file", "persistence_location")
    settings = [line for line in LINES if not line.startswith(elsewhere)]
    settings += [f"persistence_location {tmp_path}/", "sys_interval 1"]
    async with MosquittoBroker(HOUSE, settings) as started:
        yield started


def member(broker: MosquittoBroker) -> aiomqtt.Client:
    return aiomqtt.Client("127.0.0.1", broker.port, username=HOUSE.username, password=HOUSE.password)


async def is_healthy(broker: MosquittoBroker) -> bool:
    """What the health check of the compose file says."""
    _, command = compose()["services"]["broker"]["healthcheck"]["test"]
    command = command.replace("$$", "$").replace("127.0.0.1", f"127.0.0.1 -p {broker.port}")
    process = await asyncio.create_subprocess_exec("sh", "-c", command)
    return await process.wait() == 0


def test_nobody_comes_in_without_a_password() -> None:
    assert setting("listener") == "1883 127.0.0.1"
    assert setting("allow_anonymous") == "false"
    assert setting("password_file") == "/run/secrets/users"
    assert f"broker:{setting('persistence_location').rstrip('/')}" in compose()["services"]["broker"]["volumes"]


@pytest.mark.needs("mosquitto_pub", "mosquitto-clients")
async def test_a_broker_that_answers_is_healthy_and_one_that_is_gone_is_not(broker: MosquittoBroker) -> None:
    assert await is_healthy(broker)
    await broker.stop()
    assert not await is_healthy(broker)


@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_what_is_retained_outlives_a_restart(broker: MosquittoBroker) -> None:
    async with member(broker) as gateway:
        await gateway.publish("stile/QX1GAT-10/status", b"online", qos=1, retain=True)
    await broker.stop()
    await broker.start()
    assert await retained(broker, "stile/#") == {"stile/QX1GAT-10/status": b"online"}


@pytest.mark.needs("mosquitto_pub", "mosquitto-clients")
async def test_what_is_retained_is_bounded_whatever_anybody_publishes(broker: MosquittoBroker) -> None:
    limit = int(setting("memory_limit"))
    payload = b"x" * 60_000
    stored = 0

    async def flood(guest: aiomqtt.Client) -> None:
        nonlocal stored
        for number in range(2 * limit // len(payload)):
            await guest.publish(f"flood/{number}", payload, qos=1, retain=True)
            stored += len(payload)

    async with member(broker) as guest:
        flooding = asyncio.create_task(flood(guest))
        with pytest.raises(aiomqtt.MqttError):  # the broker turns the guest out
            await anext(aiter(guest.messages))
        flooding.cancel()
        await asyncio.gather(flooding, return_exceptions=True)
    assert 0.8 * limit < stored < limit
    assert await is_healthy(broker)


def test_the_container_may_hold_twice_what_the_broker_takes() -> None:
    megabytes = int(re.sub(r"m$", "", compose()["services"]["broker"]["mem_limit"]))
    assert megabytes << 20 == 2 * int(setting("memory_limit"))
