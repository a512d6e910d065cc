"""A real mosquitto is asked what it lets us do: with rights and without, in the house and gone."""

from pathlib import Path

import pytest
from paho.mqtt.enums import MQTTProtocolVersion

from gateway.bus.connection import BrokerConnection
from gateway.bus.options import DiscoveryOptions
from gateway.bus.topics import Topics
from gateway.probes import broker
from tests.mosquitto_broker import Login, MosquittoBroker, free_port, publish, retained, witness
from tests.options import bus_options

pytestmark = pytest.mark.needs("mosquitto", "mosquitto")
LOGIN = Login("stile", "hush")
BOTH = ("stile/QX1GAT-10/#", "homeassistant/device/#")


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a broker on loopback does not tell at once, it does not tell."""
    monkeypatch.setattr(broker, "TELL_SECONDS", 1.0)


def access_list(folder: Path, *rules: str) -> str:
    """A setting of the broker: what the user may do."""
    path = folder / "access"
    path.write_text("\n".join([f"user {LOGIN.username}", *rules, ""]))
    path.chmod(0o600)
    return f"acl_file {path}"


async def test_a_broker_with_all_rights_gives_back_and_retains() -> None:
    async with MosquittoBroker() as house:
        options = bus_options(house.port, discovery=DiscoveryOptions("homeassistant", ()))
        found = await broker.ask(options)
    assert found.trouble is None
    assert [(rights.filter, rights.came, rights.retained) for rights in found.rights] == [(f, True, True) for f in BOTH]
    assert not found.gateway_online


async def test_nothing_of_the_trial_is_left_and_no_topic_of_the_gateway_is_touched() -> None:
    async with MosquittoBroker() as house, witness(house) as onlooker:
        await publish(house, "stile/QX1GAT-10/status", b"online", retain=True)
        found = await broker.ask(bus_options(house.port))
        left = await retained(house)
        seen = {message.topic for message in onlooker.seen}
    assert found.gateway_online
    assert left == {"stile/QX1GAT-10/status": b"online"}
    trials = seen - {"stile/QX1GAT-10/status", "end-of-retained"}
    assert len(trials) == 1
    assert all("stile-trial" in topic for topic in trials)


async def test_a_hub_gets_no_more_than_an_empty_message_which_it_passes_over() -> None:
    async with MosquittoBroker() as house, witness(house, "homeassistant/#") as hub:
        await broker.ask(bus_options(house.port, discovery=DiscoveryOptions("homeassistant", ())))
        seen = await hub.until(bool)
        left = await retained(house)
    assert [message.payload for message in seen] == [b""]
    assert left == {}


@pytest.mark.parametrize(
    ("rules", "came"),
    [
        (["topic readwrite stile/QX1GAT-10/#"], True),
        (["topic readwrite other/#"], False),
        (["topic read stile/#"], False),
        (["topic write stile/#"], False),
    ],
)
async def test_missing_rights_show_in_what_does_not_come_back(tmp_path: Path, rules: list[str], *, came: bool) -> None:
    async with MosquittoBroker(LOGIN, [access_list(tmp_path, *rules)]) as house:
        options = bus_options(house.port, username=LOGIN.username, password=LOGIN.password)
        found = await broker.ask(options)
    assert found.trouble is None
    assert [rights.came for rights in found.rights] == [came]


async def test_a_broker_that_retains_nothing_is_found_out() -> None:
    async with MosquittoBroker(settings=["retain_available false"]) as house:
        found = await broker.ask(bus_options(house.port))
    assert found.trouble is None
    assert [(rights.came, rights.retained) for rights in found.rights] == [(True, False)]


async def test_a_wrong_password_is_told_in_the_words_of_the_bus() -> None:
    async with MosquittoBroker(LOGIN) as house:
        found = await broker.ask(bus_options(house.port, username=LOGIN.username, password="wrong"))
    assert found.trouble is not None
    assert found.trouble.why == "the broker does not let this user in: wrong username or password"
    assert found.refuses_login


async def test_a_broker_that_is_gone_is_told_with_the_systems_reason() -> None:
    found = await broker.ask(bus_options(free_port()))
    assert found.trouble is not None
    assert found.trouble.why == "the broker cannot be reached: Connection refused"


async def test_the_gateways_own_session_stays() -> None:
    """Two clients with one identifier throw each other off (MQTT 5.0 section 3.1.4)."""
    async with MosquittoBroker() as house:
        options = bus_options(house.port)
        async with BrokerConnection(options, Topics(options.base, options.callsign), MQTTProtocolVersion.MQTTv5) as own:
            await broker.ask(options)
            await own.say(b"online")
