"""The secrets of the containers, and a real broker that takes them."""

import importlib.util
import io
import os
import re
import stat
from collections.abc import AsyncIterator
from pathlib import Path
from types import ModuleType

import aiomqtt
import pytest

from tests.docker.reading import FOLDER
from tests.mosquitto_broker import MosquittoBroker


def load() -> ModuleType:
    spec = importlib.util.spec_from_file_location("set_up", FOLDER / "set_up.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


program = load()
owners: dict[str, int] = {}


def set_up(folder: Path, monkeypatch: pytest.MonkeyPatch, *arguments: str, told: str = "21161\n") -> int:
    """Run it on a folder in which its two volumes are, with `told` on its standard input; who may own is noted."""
    for volume in (program.GATEWAY, program.BROKER):
        (folder / volume).mkdir(exist_ok=True)
    monkeypatch.setattr("sys.stdin", io.StringIO(told))
    monkeypatch.setattr(os, "chown", lambda path, user, _group: owners.update({Path(path).stem: user}))
    status: int = program.main(arguments, folder)
    return status


def written(folder: Path) -> dict[str, str]:
    return {path.name: path.read_text() for path in folder.glob("*/*")}


def test_each_secret_is_for_the_user_of_its_container_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    owners.clear()
    assert set_up(tmp_path, monkeypatch) == 0
    assert owners == {"passcode": 10001, "bus": 10001, "users": 1883, "access": 1883}
    assert {stat.S_IMODE(path.stat().st_mode) for path in tmp_path.glob("*/*")} == {0o400}


def test_the_users_of_the_containers_are_those_that_it_gives_secrets_to() -> None:
    assert f"useradd --uid {program.GATEWAY_USER} " in (FOLDER / "Dockerfile").read_text("utf-8")
    assert f"USER {program.BROKER_USER}:" in (FOLDER / "Dockerfile").read_text("utf-8")


def test_what_is_there_stays_and_is_not_asked_for_again(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert set_up(tmp_path, monkeypatch) == 0
    before = written(tmp_path)
    assert set_up(tmp_path, monkeypatch, told="1\n") == 0
    assert written(tmp_path) == before


def test_the_passcode_and_the_password_of_the_house_are_made_anew_when_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert set_up(tmp_path, monkeypatch) == 0
    before = written(tmp_path)
    assert set_up(tmp_path, monkeypatch, "--passcode", "--house", told="\n") == 0
    after = written(tmp_path)
    assert after["passcode"] == "-1\n"
    assert after["bus"] == before["bus"]
    assert after["users"].splitlines()[0] == before["users"].splitlines()[0]
    assert after["users"].splitlines()[1] != before["users"].splitlines()[1]
    first, second = re.findall(r"^    (\S{24})$", capsys.readouterr().out, re.MULTILINE)
    assert first != second


@pytest.mark.parametrize("told", ["x\n", "32768\n", "-2\n", "1 2\n", "٣\n", "9" * 5000])
def test_what_is_no_passcode_is_refused_and_not_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], told: str
) -> None:
    assert set_up(tmp_path, monkeypatch, told=told) == 1
    said = capsys.readouterr()
    assert said.err.startswith("That is no passcode: ")
    assert f" {told.strip()} " not in said.err + said.out
    assert written(tmp_path) == {}


def test_who_gives_no_passcode_is_told_that_nothing_is_sent(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert set_up(tmp_path, monkeypatch, told="") == 0
    assert capsys.readouterr().out.startswith("No passcode: the gateway only listens.")


def test_no_secret_but_the_password_of_the_house_is_shown(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert set_up(tmp_path, monkeypatch) == 0
    said = capsys.readouterr().out
    kept = written(tmp_path)
    assert kept["passcode"].strip() not in said
    assert kept["bus"].strip() not in said
    assert "$7$" not in said


@pytest.fixture
async def broker(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> AsyncIterator[MosquittoBroker]:
    """A broker with the users and the rights that were set up. (That no guest comes in is test_broker_settings'.)"""
    assert set_up(tmp_path, monkeypatch) == 0
    (tmp_path / "house").write_text(*re.findall(r"^    (\S{24})$", capsys.readouterr().out, re.MULTILINE))
    files = [f"password_file {tmp_path}/broker/users", f"acl_file {tmp_path}/broker/access"]
    async with MosquittoBroker(settings=files) as started:
        yield started


def user(broker: MosquittoBroker, name: str, password: str) -> aiomqtt.Client:
    return aiomqtt.Client(
        "127.0.0.1", broker.port, username=name, password=password, protocol=aiomqtt.ProtocolVersion.V5
    )


@pytest.mark.needs("mosquitto", "mosquitto")
async def test_the_broker_knows_the_gateway_by_its_password(tmp_path: Path, broker: MosquittoBroker) -> None:
    password = (tmp_path / "gateway/bus").read_text().strip()
    async with user(broker, "stile", password) as gateway:
        await gateway.publish("stile/QX1GAT-10/status", b"online", qos=1, retain=True)
    with pytest.raises(aiomqtt.MqttError):
        async with user(broker, "stile", f"{password}x"):
            pass


@pytest.mark.needs("mosquitto_sub", "mosquitto-clients")
async def test_the_house_reads_and_writes_nothing_of_the_gateways(tmp_path: Path, broker: MosquittoBroker) -> None:
    password = (tmp_path / "house").read_text()
    async with user(broker, "stile", (tmp_path / "gateway/bus").read_text().strip()) as gateway:
        await gateway.publish("stile/QX1GAT-10/status", b"online", qos=1, retain=True)
        async with user(broker, "house", password) as house:
            await house.subscribe("stile/#")
            assert (await anext(aiter(house.messages))).payload == b"online"
            await house.publish("stile/QX1GAT-10/status", b"forged", qos=1, retain=True)
            await house.publish("homeassistant/status", b"online", qos=1, retain=True)
        await gateway.subscribe("#")
        kept = [await anext(aiter(gateway.messages)) for _ in range(2)]
    assert {str(message.topic): message.payload for message in kept} == {
        "stile/QX1GAT-10/status": b"online",
        "homeassistant/status": b"online",
    }
