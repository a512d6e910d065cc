"""What is written: whatever was answered, the station file says that and nothing else, and can be run with."""

import os
import re
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st
from pydantic import SecretStr

from gateway import settings
from gateway.commands.checking import check_station
from gateway.frames.heard import Place
from gateway.setup.answers import GivenAnswers, Page
from gateway.setup.files import new_files, station_text, unit_text
from gateway.setup.writing import write_all

PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
TOKEN = "0123456789abcdef0123456789abcdef"
UNIT = Path(__file__).parents[2] / "gateway" / "stile.service"
SENDER = GivenAnswers(
    "QX1GAT-10",
    locator="IO88AO",
    place=Place(58.6, -3.9167),
    receivers=("kiss+tcp://127.0.0.1:7581",),
    servers=("tcp://127.0.0.1",),
    passcode=SecretStr(PASSCODE),
    page=Page.HOUSE,
)

ADDRESSES = st.sampled_from(
    ["kiss+tcp://127.0.0.1:7581", "tnc2+tcp://radio.example:8000", "kiss+serial:///dev/serial/by-id/usb-A%20B"]
)
SERVERS = st.lists(st.sampled_from(["tcp://a.example", "tcp://[::1]:1"]), max_size=2, unique=True)
USERS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), min_size=1, max_size=40)


@st.composite
def given_answers(draw: st.DrawFn) -> GivenAnswers:
    listens_only = draw(st.booleans())
    servers = [] if listens_only else draw(SERVERS)
    broker = draw(st.sampled_from([None, "embedded", "mqtt://127.0.0.1:1883", "mqtts://broker.example"]))
    user = draw(USERS) if broker not in {None, "embedded"} and draw(st.booleans()) else None
    return GivenAnswers(
        callsign="POST" if listens_only else "QX1GAT-10",
        listens_only=listens_only,
        place=draw(st.none() | st.builds(Place, st.floats(-90, 90), st.floats(-180, 180))),
        receivers=tuple(draw(st.lists(ADDRESSES, min_size=1, max_size=3, unique=True))),
        servers=tuple(servers),
        passcode=SecretStr(PASSCODE) if bool(servers) and draw(st.booleans()) else None,
        broker=broker,
        broker_user=user,
        broker_password=None if user is None else SecretStr("hush"),
        page=draw(st.sampled_from([*Page])),
        journal=draw(st.booleans()),
    )


@given(given_answers())
@hypothesis_settings(max_examples=30)
def test_the_station_file_says_what_was_answered(
    tmp_path_factory: pytest.TempPathFactory, answers: GivenAnswers
) -> None:
    folder = tmp_path_factory.mktemp("post") / "new"
    write_all(folder, new_files(answers, TOKEN, None))
    station = settings.load(folder / "station.yaml", {})
    said = station.settings
    assert said.station.callsign == answers.callsign
    assert tuple(str(receiver.address) for receiver in said.receivers) == answers.receivers
    assert (said.uplink.servers if said.uplink else []) == list(answers.servers)
    passcode = -1 if answers.passcode is None else int(PASSCODE)
    assert station.passcode_number == (passcode if answers.servers else None)
    assert (said.bus.broker if said.bus else None) == answers.broker
    assert (said.bus.username if said.bus else None) == answers.broker_user
    assert (said.web is None) == (answers.page is Page.NO)
    assert (said.journal is None) != answers.journal
    position = said.station.position
    assert (Place(*position.degrees) if position else None) == answers.place


def test_what_is_written_is_fine_without_a_warning_and_secrets_are_their_owners_alone(tmp_path: Path) -> None:
    folder = tmp_path / "new"
    write_all(folder, new_files(SENDER, TOKEN, None))
    report = check_station(folder / "station.yaml")
    assert report.problems == ()
    assert [warning.key for warning in report.warnings] == []
    modes = {path.name: path.stat().st_mode & 0o777 for path in folder.rglob("*")}
    assert modes == {"secrets": 0o700, "passcode": 0o600, "web": 0o600, "station.yaml": 0o644}
    text = (folder / "station.yaml").read_text()
    assert PASSCODE not in text
    assert TOKEN not in text
    assert TOKEN not in repr(new_files(SENDER, TOKEN, None))


def test_the_sections_that_were_left_out_are_shown_as_comments() -> None:
    text = station_text(GivenAnswers("POST", listens_only=True, receivers=("kiss+tcp://127.0.0.1:7581",), page=Page.NO))
    assert all(f"# {section}:" in text for section in ("uplink", "lines"))
    assert "  # position:" in text


def test_the_units_paths_are_those_of_the_station_and_secrets_come_from_the_service_manager() -> None:
    template = UNIT.read_text("utf-8")
    unit = unit_text(template, Path("/srv/post"), Path("/usr/local/bin/stile"))
    assert "ExecStart=/usr/local/bin/stile run --log text /srv/post/station.yaml\n" in unit
    assert re.search(r"^LoadCredential=passcode:/srv/post/secrets/passcode$", unit, re.MULTILINE)
    assert unit_text(template, Path("/etc/stile"), Path("/opt/stile/bin/stile")) == template
    text = station_text(replace(SENDER, service=True))
    assert "passcode_file: $CREDENTIALS_DIRECTORY/passcode" in text
    assert "path: /var/lib/stile/stile.db" in text


@pytest.mark.parametrize("name", ["station.yaml", "secrets/passcode"])
def test_nothing_is_written_over_and_what_was_made_is_taken_away_again(tmp_path: Path, name: str) -> None:
    there = tmp_path / name
    there.parent.mkdir(exist_ok=True)
    there.write_text("mine")
    with pytest.raises(FileExistsError):
        write_all(tmp_path, new_files(SENDER, TOKEN, "unit"))
    assert there.read_text() == "mine"
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == [there]


def test_an_interrupt_in_the_middle_of_writing_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(_: int) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_all(tmp_path / "a" / "b", new_files(SENDER, TOKEN, None))
    assert list(tmp_path.iterdir()) == []
