"""Each answer is tried on the real thing: what holds is fine, what does not is said in words that help."""

import socket
from dataclasses import replace
from pathlib import Path

import pytest
from pydantic import SecretStr

from demo.network_server import NetworkServer
from gateway.frames.heard import Place
from gateway.probes import broker, network_server
from gateway.setup import trials
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.trials import Trials
from tests.mosquitto_broker import Login, MosquittoBroker, free_port
from tests.probes.answering import frame, in_kiss, saying

LOGIN = Login("stile", "hush")
NOBODY = GivenAnswers("QX1GAT-10", receivers=("kiss+tcp://127.0.0.1:1",))


@pytest.fixture(autouse=True)
def hasty(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker, "TELL_SECONDS", 1.0)


@pytest.fixture
def tries(tmp_path: Path) -> Trials:
    return Trials(tmp_path, listen_seconds=1.0)


async def test_a_place_is_said_back_and_asked_for(tries: Trials) -> None:
    trial = await tries.of("place", replace(NOBODY, place=Place(58.6, -3.9167)))
    assert trial.asks
    assert "north of the equator, west of Greenwich" in trial.lines[0]
    assert await tries.of("place", NOBODY) == trials.Trial()


async def test_a_decoder_in_the_other_language_is_not_fine_and_a_silent_one_is(tries: Trials) -> None:
    async with saying(in_kiss(frame(">x"))) as speaking, saying(b"") as silent:
        other = await tries.of("receivers", replace(NOBODY, receivers=(f"tnc2+tcp://127.0.0.1:{speaking}",)))
        quiet = await tries.of("receivers", replace(NOBODY, receivers=(f"kiss+tcp://127.0.0.1:{silent}",)))
    gone = await tries.of("receivers", replace(NOBODY, receivers=(f"kiss+tcp://127.0.0.1:{free_port()}",)))
    assert (other.is_fine, quiet.is_fine, gone.is_fine) == (False, True, False)
    assert f"it speaks KISS: answer kiss+tcp://127.0.0.1:{speaking}" in other.lines[0]
    assert "does the radio hear anything?" in quiet.lines[0]


async def test_a_server_that_never_answers_the_login_is_not_fine(
    tries: Trials, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(network_server, "LOGIN_SECONDS", 0.5)
    async with saying(b"# stand-in\r\n# logresp QX9 verified, server QX9\r\n") as port:
        trial = await tries.of("servers", replace(NOBODY, servers=(f"tcp://127.0.0.1:{port}",)))
    assert not trial.is_fine
    assert "greets, but does not take the login" in trial.lines[0]


async def test_servers_are_greeted_and_the_passcode_is_tried(tries: Trials) -> None:
    async with NetworkServer() as server, saying(b"SSH-2.0-x\r\n") as other:
        asked = replace(NOBODY, servers=(f"tcp://127.0.0.1:{server.port}",))
        greeted = await tries.of("servers", asked)
        verified = await tries.of("passcode", replace(asked, passcode=SecretStr("21161")))
        refused = await tries.of("passcode", replace(asked, passcode=SecretStr("1")))
        none = await tries.of("servers", replace(asked, servers=(f"tcp://127.0.0.1:{other}",)))
    assert [trial.is_fine for trial in (greeted, verified, refused, none)] == [True, True, False, False]
    assert "greets and verifies the login" in verified.lines[0]
    assert "it began with 'SSH-2.0-x'" in none.lines[0]
    assert "nothing goes up" in (await tries.of("passcode", asked)).lines[0]


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_a_broker_that_wants_a_user_leads_to_the_next_question(tries: Trials) -> None:
    async with MosquittoBroker(LOGIN) as house:
        asked = replace(NOBODY, broker=f"mqtt://127.0.0.1:{house.port}")
        first = await tries.of("broker", asked)
        without = await tries.of("broker_user", asked)
        named = replace(asked, broker_user=LOGIN.username)
        later = await tries.of("broker_user", named)
        right = await tries.of("broker_password", replace(named, broker_password=SecretStr(LOGIN.password)))
        wrong = await tries.of("broker_password", replace(named, broker_password=SecretStr("wrong")))
    assert (first.is_fine, first.lines) == (True, ("it asks for a user",))
    assert [trial.is_fine for trial in (without, later, right, wrong)] == [False, True, True, False]


async def test_a_broker_that_is_not_there_is_not_fine(tries: Trials) -> None:
    gone = await tries.of("broker", replace(NOBODY, broker=f"mqtt://127.0.0.1:{free_port()}"))
    assert not gone.is_fine
    assert "Connection refused" in gone.lines[0]
    assert (await tries.of("broker", replace(NOBODY, broker="embedded"))).is_fine


async def test_a_page_wants_its_port(tries: Trials, monkeypatch: pytest.MonkeyPatch) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        monkeypatch.setattr(trials, "WEB_PORT", other.getsockname()[1])
        taken = await tries.of("page", NOBODY)
    assert not taken.is_fine
    assert "Address already in use" in taken.lines[0]
    monkeypatch.setattr(trials, "WEB_PORT", free_port())
    assert (await tries.of("page", NOBODY)).is_fine
    assert (await tries.of("page", replace(NOBODY, page=Page.NO))).is_fine


async def test_a_journal_wants_a_folder_to_write_to_that_need_not_be_there_yet(tmp_path: Path) -> None:
    assert (await Trials(tmp_path / "a" / "b").of("journal", NOBODY)).is_fine
    assert not (tmp_path / "a").exists()
