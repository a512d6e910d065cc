"""A whole set-up: at a terminal, and from a file; and every way of leaving it, which leaves nothing behind."""

import asyncio
import os
import sys
from itertools import takewhile
from pathlib import Path

import pytest

from demo.network_server import NetworkServer
from gateway import cli, settings
from gateway.commands.checking import check_station
from gateway.setup import surroundings
from gateway.setup.console import Console
from gateway.setup.trials import Trial, Trials
from tests.mosquitto_broker import free_port
from tests.probes.answering import frame, in_kiss, saying
from tests.setup.at_a_terminal import setting_up
from tests.waiting import until
from tests.whole_gateway import FAIL_SAFE_SECONDS, running


def is_any(folder: Path) -> bool:
    """Whether there is anything in it."""
    return any(folder.iterdir())


PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
FRAMES = in_kiss(*(frame(f">report {number}") for number in range(25)))


async def test_at_a_terminal_the_first_frame_is_shown_and_a_station_file_is_written(tmp_path: Path) -> None:
    folder = tmp_path / "post"
    async with (
        saying(FRAMES) as decoder,
        NetworkServer() as server,
        setting_up(folder, [decoder]) as terminal,
    ):
        await terminal.answer("Your callsign", "QX1GAT-10")
        await terminal.answer("Where the antenna is", "58.6 N 3.9167 W")
        await terminal.until("north of the equator, west of Greenwich")
        await terminal.answer("Is that right? [yes]")
        await terminal.until("speaks KISS: QA1BCD-9>APRS:>report 0")
        await terminal.answer("Which decoder, or decoders")
        await terminal.until("hears QA1BCD-9>APRS:>report 0")
        await terminal.until("usually on 144.800 MHz")
        await terminal.answer("Servers of the network", f"127.0.0.1:{server.port}")
        await terminal.answer("Your passcode (it is not shown)", "12345")
        await terminal.until("does not belong to QX1GAT-10")
        await terminal.answer("Your passcode (it is not shown)", PASSCODE)
        await terminal.until("greets and verifies the login")
        await terminal.answer("An MQTT broker", "no")
        await terminal.answer("The page", "no")
        await terminal.answer("Keep a journal")
        await terminal.answer("Write a service", "no")
        assert await terminal.status() == cli.FINE
        assert PASSCODE not in terminal.shown
        assert "12345" not in terminal.shown
    station = settings.load(folder / "station.yaml", {})
    assert station.passcode_number == int(PASSCODE)
    assert str(station.settings.receivers[0].address) == f"kiss+tcp://127.0.0.1:{decoder}"
    report = check_station(folder / "station.yaml")
    assert (report.problems, report.warnings) == ((), ())


UP_TO_THE_PASSCODE = {
    "Your callsign": "QX1GAT-10",
    "Where the antenna is": "",
    "Which decoder": f"kiss+unix:///{'no' * 9}/socket",
    "Keep this answer all the same?": "yes",
    "Servers of the network": "127.0.0.1:1",
    "Keep this answer  all the same?": "yes",
}


@pytest.mark.parametrize("at", ["Your callsign", "Where the antenna is", "Keep this answer", "Your passcode"])
async def test_control_c_leaves_nothing(tmp_path: Path, at: str) -> None:
    async with setting_up(tmp_path / "post", []) as terminal:
        for prompt, line in takewhile(lambda asked: not asked[0].startswith(at), UP_TO_THE_PASSCODE.items()):
            await terminal.answer(prompt.replace("  ", " "), line)
        await terminal.press_control_c(at)
        await terminal.until("Left: nothing was written.")
        assert await terminal.status() == cli.FOUND_WRONG
        assert "Traceback" not in terminal.shown
    assert not is_any(tmp_path)


async def test_sigterm_while_the_passcode_is_asked_leaves_nothing_and_a_terminal_that_shows_what_is_typed(
    tmp_path: Path,
) -> None:
    async with setting_up(tmp_path / "post", []) as terminal:
        for prompt, line in UP_TO_THE_PASSCODE.items():
            await terminal.answer(prompt.replace("  ", " "), line)
        await terminal.until("Your passcode")
        await until(lambda: not terminal.echoes)
        terminal.terminate()
        await terminal.until("Left: nothing was written.")
        assert await terminal.status() == cli.FOUND_WRONG
        assert terminal.echoes
    assert not is_any(tmp_path)


async def test_control_c_in_the_middle_of_a_trial_leaves_nothing(tmp_path: Path) -> None:
    async with saying(b"") as silent, setting_up(tmp_path / "post", []) as terminal:
        await terminal.answer("Your callsign", "QX1GAT-10")
        await terminal.answer("Where the antenna is")
        await terminal.answer("Which decoder", f"kiss+tcp://127.0.0.1:{silent}")
        await terminal.press_control_c("Listening there")
        await terminal.until("Left: nothing was written.")
        assert await terminal.status() == cli.FOUND_WRONG
        assert "Traceback" not in terminal.shown
    assert not is_any(tmp_path)


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(surroundings, "listening_ports", lambda *_: [])
    monkeypatch.setattr(surroundings, "serial_devices", lambda *_: [])
    monkeypatch.setattr(surroundings, "address_in_the_house", lambda: "192.0.2.7")
    monkeypatch.setattr(surroundings, "_UNSEEN", ())
    monkeypatch.chdir(tmp_path)
    (tmp_path / "passcode").write_text(PASSCODE)
    return tmp_path


def written(house: Path, **answers: object) -> Path:
    path = house / "answers.yaml"
    lines = {"receivers": f"kiss+tcp://127.0.0.1:{free_port()}", "page": "no", "broker": "no", **answers}
    path.write_text("".join(f"{key}: {value}\n" for key, value in lines.items()))
    return path


def test_answers_from_a_file_are_tried_said_and_written(
    house: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PATH", "/usr/bin:/bin")  # where this program is not
    answers = written(house, callsign="QX1GAT-10", place="IO88AO", servers="127.0.0.1:1", passcode_file="passcode")
    assert cli.main(["setup", "post", "--answers", str(answers)]) == cli.FINE
    out = capsys.readouterr().out
    assert "place: 58.6042 N, 3.9583 W, which is IO88AO: north of the equator, west of Greenwich" in out
    assert "receivers: kiss+tcp://127.0.0.1:" in out
    assert "Connection refused" in out
    assert f"  {sys.prefix}/bin/stile doctor post/station.yaml" in out
    assert PASSCODE not in out
    assert settings.load(house / "post/station.yaml", {}).passcode_number == int(PASSCODE)


async def test_what_was_set_up_sends_the_first_frame(house: Path) -> None:
    async with saying(FRAMES) as decoder, NetworkServer(keep_lines=25) as server:
        answers = written(
            house,
            callsign="QX1GAT-10",
            receivers=f"kiss+tcp://127.0.0.1:{decoder}",
            servers=f"127.0.0.1:{server.port}",
            passcode_file="passcode",
        )
        assert await asyncio.to_thread(cli.main, ["setup", "post", "--answers", str(answers)]) == cli.FINE
        async with running(settings.load(house / "post/station.yaml", {})):
            await server.until(lambda: bool(server.lines), FAIL_SAFE_SECONDS)
    assert server.lines[0] == b"QA1BCD-9>APRS,qAO,QX1GAT-10:>report 0\r\n"


def test_for_the_house_a_token_is_made_and_an_address_told_with_its_code(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["setup", "post", "--answers", str(written(house, page="house"))]) == cli.FINE
    out = capsys.readouterr().out
    token = (house / "post/secrets/web").read_text().strip()
    assert f"It asks for this token once: {token}\n" in out
    assert f"http://192.0.2.7:{settings.WEB_PORT}/" in out
    assert sum(line.startswith("██") for line in out.splitlines()) >= 14
    assert settings.load(house / "post/station.yaml", {}).web_token is not None


def test_where_the_house_has_no_network_no_code_leads_nowhere(
    house: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(surroundings, "address_in_the_house", lambda: None)
    assert cli.main(["setup", "post", "--answers", str(written(house, page="house"))]) == cli.FINE
    out = capsys.readouterr().out
    assert f"http://ADDRESS:{settings.WEB_PORT}/" in out
    assert "ADDRESS is that of this computer in the house's network" in out
    assert "██" not in out


@pytest.fixture
def untried(monkeypatch: pytest.MonkeyPatch) -> None:
    async def fine(*_: object) -> Trial:
        return Trial()

    monkeypatch.setattr(Trials, "of", fine)


@pytest.mark.parametrize(
    ("answers", "said"),
    [
        ({"callsing": "QX1GAT"}, 'unknown key - did you mean "callsign"?'),
        ({"callsign": "QX1GAT-100"}, "answers.yaml:4: callsign: 'QX1GAT-100' is no callsign"),
        ({"journal": "perhaps"}, "answers.yaml:4: journal: 'perhaps' is neither yes nor no"),
        ({"callsign": "{a: b}"}, "answers.yaml:4: callsign: a word or a number belongs here, or a list of these\n"),
        ({"place": "[58.6, 200]"}, "answers.yaml:4: place: latitude is from -90 to 90"),
        ({"passcode": "12345"}, "answers.yaml:4: passcode: unknown key"),
        ({"callsign": "QX1GAT", "passcode_file": "passcode"}, "passcode_file: nothing asks for it without servers"),
        (
            {"callsign": "QX1GAT", "servers": "a.example:1", "passcode_file": "none"},
            "answers.yaml:6: passcode_file: ",
        ),
    ],
)
def test_a_mistake_in_the_answers_is_told_with_its_line_and_nothing_is_written(
    house: Path, answers: dict[str, object], said: str, capsys: pytest.CaptureFixture[str], untried: None
) -> None:
    del untried
    assert cli.main(["setup", "post", "--answers", str(written(house, **answers))]) == cli.FOUND_WRONG
    told = capsys.readouterr().err
    assert said in told
    assert "12345" not in told
    assert not (house / "post").exists()


@pytest.mark.parametrize("name", ["station.yaml", "stile.service", "secrets"])
def test_a_folder_that_holds_a_station_is_left_as_it_is(
    house: Path, name: str, capsys: pytest.CaptureFixture[str]
) -> None:
    (house / name).write_text("mine")
    assert cli.main(["setup", ".", "--answers", str(written(house))]) == cli.FOUND_WRONG
    assert f"{name} is there already" in capsys.readouterr().err
    assert (house / name).read_text() == "mine"


def test_without_a_terminal_it_asks_nothing(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    del house
    with open(os.devnull) as nowhere:  # noqa: PTH123 - a device
        monkeypatch = pytest.MonkeyPatch()
        with monkeypatch.context() as patched:
            patched.setattr("sys.stdin", nowhere)
            assert cli.main(["setup", "post"]) == cli.USED_WRONGLY
    assert "--answers FILE" in capsys.readouterr().err


def test_a_service_is_written_from_the_packages_own_and_its_steps_are_told(
    house: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["setup", "post", "--answers", str(written(house, service="yes"))]) == cli.FINE
    out = capsys.readouterr().out
    assert f"ExecStart={sys.prefix}/bin/stile run" in (house / "post/stile.service").read_text()
    assert f"sudo install -m 644 {house}/post/stile.service /etc/systemd/system/stile.service" in out
    assert f"sudo CREDENTIALS_DIRECTORY={house}/post/secrets {sys.prefix}/bin/stile doctor" in out


def test_a_place_that_cannot_be_written_is_said(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (house / "file").touch()
    assert cli.main(["setup", "file/post", "--answers", str(written(house))]) == cli.FOUND_WRONG
    assert f"{house}/file is no folder that you may write to" in capsys.readouterr().err


def test_a_place_that_may_not_be_looked_for_is_said(house: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["setup", "x" * 300, "--answers", str(written(house))]) == cli.FOUND_WRONG
    assert "cannot be written: File name too long; nothing was written" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("folder", "can"),
    [("/etc/stile", True), ("/srv/post", True), ("/home/anna/post", False), ("/tmp/post", False), ("/srv/a b", False)],
)
def test_a_service_is_offered_where_it_can_see_its_folder_and_a_unit_can_name_it(
    monkeypatch: pytest.MonkeyPatch, folder: str, *, can: bool
) -> None:
    monkeypatch.setattr(sys, "prefix", "/opt/stile")
    assert surroundings.ThisComputer(Path(folder), Console()).can_be_a_service == can
