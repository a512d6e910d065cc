"""What `check` says: what it understood, and what the author of a station file may not have meant."""

import importlib.util
import os
import sqlite3
import sys
from pathlib import Path

import pytest

from gateway.commands import checking
from gateway.commands.checking import CheckReport, check_station
from gateway.journal.schema import APPLICATION_ID
from gateway.reports import locator

PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
TOKEN = "0123456789abcdef0123456789abcdef"

STATION = """\
station:
  callsign: QX1GAT-10
  position: {latitude: 58.6, longitude: -3.9167}
receivers:
  - {name: vhf, from: "kiss+tcp://127.0.0.1:7581"}
"""

WHOLE = """\
  - {name: lan, from: "tnc2+udp://192.0.2.7:8200", allow: [192.0.2.0/24]}
uplink: {servers: [tcp://server.example, "tcp://[2001:db8::7]:14581"], passcode_file: passcode}
bus: {broker: mqtt://127.0.0.1, base: house/radio}
lines: {listen: 127.0.0.1}
web: {listen: 0.0.0.0, token_file: token}
journal: {path: stile.db, keep: 30d, captures: captures}
alerts:
  - {name: deaf, deaf: {for: 2h}}
"""


@pytest.fixture
def house(tmp_path: Path) -> Path:
    """A folder with secrets that nobody else can read."""
    for name, secret in (("passcode", PASSCODE), ("token", TOKEN)):
        (tmp_path / name).write_text(secret)
        (tmp_path / name).chmod(0o600)
    return tmp_path


def checked(folder: Path, more: str = "", station: str = STATION, policy: str = "") -> CheckReport:
    """The report on a station file, and on a policy of its own if one is given."""
    (folder / "station.yaml").write_text(station + more + ("policy: ./own.yaml\n" if policy else ""))
    (folder / "own.yaml").write_text(f"version: 1\nname: own\n{policy}")
    return check_station(folder / "station.yaml")


def warned(folder: Path, more: str = "", station: str = STATION, policy: str = "") -> list[str]:
    """The warnings about a station file that can be used."""
    report = checked(folder, more, station, policy)
    assert report.problems == ()
    return [f"{warning.line}: {warning.key}: {warning.what}".replace(str(folder), "") for warning in report.warnings]


def refused(folder: Path, more: str = "", station: str = STATION, policy: str = "") -> list[str]:
    """The problems of a station file that cannot be used."""
    problems = checked(folder, more, station, policy).problems
    return [str(problem).removeprefix(f"{folder}/").replace(str(folder), "") for problem in problems]


# What was understood.


def test_what_was_understood_is_said_back(house: Path) -> None:
    said = checked(house, WHOLE).in_words().splitlines()
    assert said[:-1] == [
        "  call        QX1GAT-10",
        f"  place       58.6000 N 3.9167 W, {locator.write(58.6, -3.9167)}",
        "  listens to  vhf: kiss+tcp://127.0.0.1:7581",
        "              lan: tnc2+udp://192.0.2.7:8200, from 192.0.2.0/24",
        "  sends to    server.example:14580, then [2001:db8::7]:14581",
        "  the house   bus: mqtt://127.0.0.1:1883, topics under house/radio/QX1GAT-10/",
        "              text port: 127.0.0.1:7582",
        "              page: http://0.0.0.0:7583/, with a token",
        f"              journal: {house}/stile.db, 30 d",
        f"              captures: {house}/captures",
        "  alerts      emergencies, deaf",
    ]
    assert said[-1].startswith(f"{house}/station.yaml: fine, with the policy receive-only@")


def test_what_is_not_there_is_said_too(house: Path) -> None:
    said = checked(house, station=STATION.replace("  position", "  #")).in_words().splitlines()
    assert said[:-1] == [
        "  call        QX1GAT-10",
        "  place       not said: no distances and bearings",
        "  listens to  vhf: kiss+tcp://127.0.0.1:7581",
        "  sends to    nowhere: there is no uplink",
        "  the house   gets nothing: there is no bus, lines, web or journal",
        "  alerts      emergencies",
    ]


def test_an_uplink_that_only_receives_sends_nowhere(house: Path) -> None:
    said = checked(house, "uplink: {servers: [tcp://server.example]}\n").in_words()
    assert "sends to    nowhere: it logs in to receive only, at server.example:14580\n" in said


def test_a_club_is_said_back(house: Path) -> None:
    club = "club: {name: wrackholm, servers: ['nats://127.0.0.1:4222'], role: post}\n"
    report = checked(house, club)
    assert "  the club    wrackholm, as a post, by nats://127.0.0.1:4222\n" in report.in_words()
    assert "  sends to    the hubs of the club\n" in report.in_words()
    assert report.understood is not None
    assert report.understood.to_object()["club"] == {
        "name": "wrackholm", "role": "post", "servers": ["nats://127.0.0.1:4222"],
    }  # fmt: skip


def test_what_was_understood_is_there_for_scripts(house: Path) -> None:
    report = checked(house, WHOLE)
    assert report.to_object()["understood"] == {
        "callsign": "QX1GAT-10",
        "position": {"latitude": 58.6, "longitude": -3.9167, "locator": locator.write(58.6, -3.9167)},
        "listens_to": [
            {"name": "vhf", "from": "kiss+tcp://127.0.0.1:7581", "allow": []},
            {"name": "lan", "from": "tnc2+udp://192.0.2.7:8200", "allow": ["192.0.2.0/24"]},
        ],
        "sends_to": {"servers": ["server.example:14580", "[2001:db8::7]:14581"], "receive_only": False},
        "bus": {"broker": "mqtt://127.0.0.1:1883", "topics": "house/radio/QX1GAT-10/"},
        "lines": "127.0.0.1:7582",
        "web": "http://0.0.0.0:7583/",
        "club": None,
        "journal": f"{house}/stile.db",
        "captures": f"{house}/captures",
        "alerts": ["deaf"],
    }
    assert PASSCODE not in str(report.to_object())
    assert TOKEN not in str(report.to_object()) + report.in_words()


def test_nothing_is_said_back_of_what_cannot_be_used(house: Path) -> None:
    report = checked(house, "uplnk: {}\n")
    assert report.in_words() == f"{house}/station.yaml: 1 problem: it cannot be used as it is"
    assert report.to_object()["understood"] is None


# Warnings, each where it is due.


def test_a_station_file_that_leaves_nothing_to_say_gets_no_warning(house: Path) -> None:
    assert warned(house) == []
    loopback = WHOLE.replace("192.0.2.7", "127.0.0.1")
    assert warned(house, loopback) == []


@pytest.mark.parametrize(
    ("position", "said"),
    [
        (
            "{latitude: 0, longitude: 0}",
            "3: station.position: 0, 0 lies in the Gulf of Guinea: is this where the antenna is?",
        ),
        (
            "{locator: IO88}",
            (
                "3: station.position.locator: IO88 is a square of 1 by 2 degrees: "
                "distances need two letters more, or degrees"
            ),
        ),
    ],
)
def test_a_place_that_is_hardly_meant_is_told(house: Path, position: str, said: str) -> None:
    assert warned(house, station=STATION.replace("{latitude: 58.6, longitude: -3.9167}", position)) == [said]


@pytest.mark.parametrize("position", ["{latitude: 0, longitude: 0.001}", "{locator: IO88AO}", "{locator: JJ00aa}"])
def test_a_place_that_can_be_meant_is_not(house: Path, position: str) -> None:
    assert warned(house, station=STATION.replace("{latitude: 58.6, longitude: -3.9167}", position)) == []


def test_ports_that_others_can_reach_are_told(house: Path) -> None:
    more = '  - {name: lan, from: "axudp://0.0.0.0:8200", allow: [192.0.2.0/24]}\nlines: {listen: "192.0.2.1:8300"}\n'
    assert warned(house, more) == [
        "7: lines.listen: 192.0.2.1 lets other computers read all that is heard with no password, and where people are",
        (
            "6: receivers[1].from: 0.0.0.0 takes datagrams from other computers,"
            " and who sends one can name any of the allowed as its sender"
        ),
    ]


def test_a_secret_that_others_can_read_is_told(house: Path) -> None:
    loopback = WHOLE.replace("192.0.2.7", "127.0.0.1")
    (house / "passcode").chmod(0o644)
    (house / "token").chmod(0o640)  # to a group that is the gateway's own, perhaps
    assert warned(house, loopback) == [
        "7: uplink.passcode_file: everybody on this computer can read the secret in /passcode: chmod 600 /passcode"
    ]


def test_a_token_of_one_character_is_told(house: Path) -> None:
    (house / "token").write_text("x" * 40)
    (told,) = warned(house, "web: {token_file: token}\n")
    assert told.startswith("6: web.token_file: the token is one character over and over, which can be guessed: ")
    assert "xx" not in told


def test_files_that_anybody_may_change_are_told(house: Path) -> None:
    assert warned(house, policy="rules: []\n") == []
    (house / "own.yaml").chmod(0o666)
    (house / "station.yaml").chmod(0o662)
    assert warned(house, policy="rules: []\n") == [
        "1: : everybody on this computer may change this file: chmod o-w /station.yaml",
        "1: : everybody on this computer may change this file: chmod o-w /own.yaml",
    ]


def test_captures_that_cannot_be_written_are_told_and_the_gateway_may_start(
    house: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = (
        "6: journal.captures: /captures is no folder to write to, and cannot be made one: no captures would be written"
    )
    journal = "journal: {path: stile.db, captures: captures}\n"
    assert warned(house, journal) == []
    (house / "captures").touch()
    assert warned(house, journal) == [said]
    assert warned(house, journal.replace("captures}", "none/captures}")) == [
        said.replace("/captures is", "/none/captures is")
    ]
    (house / "captures").unlink()
    (house / "captures").mkdir()
    assert warned(house, journal) == []
    # Who runs the tests may be root, who may write anywhere: the system's answer is put in its place.
    monkeypatch.setattr(os, "access", lambda path, _: Path(path).name != "captures")
    assert warned(house, journal) == [said]


def test_a_journal_that_may_not_be_written_is_told(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda _path, _mode: False)
    (told,) = warned(house, "journal: {path: stile.db}\n")
    assert told == "6: journal.path: who runs this check may not write /stile.db: nothing would be remembered"


def test_a_journal_that_is_damaged_or_open_to_others_is_told(house: Path) -> None:
    (house / "stile.db").write_text("no database" * 100)
    (told,) = warned(house, "journal: {path: stile.db}\n")
    assert told.startswith("6: journal.path: the journal /stile.db is damaged")
    (house / "stile.db").write_bytes(b"")
    (house / "stile.db").chmod(0o644)
    (told,) = warned(house, "journal: {path: stile.db}\n")
    assert told == "6: journal.path: others on this computer may read it: chmod 600 /stile.db"


def test_a_folder_in_the_journals_place_is_told(house: Path) -> None:
    (house / "stile.db").mkdir()
    (told,) = warned(house, "journal: {path: stile.db}\n")
    assert told == "6: journal.path: /stile.db is a folder, and nothing is remembered: name a file in it"


def test_certificates_that_cannot_be_read_are_told(house: Path) -> None:
    (told,) = warned(house, "bus: {broker: mqtts://broker.example, ca: none.pem}\n")
    assert told.startswith("6: bus.ca: bus.ca: /none.pem: No such file")
    assert told.endswith("until then the bus is down")


def test_a_window_for_duplicates_in_an_included_file_is_told(house: Path) -> None:
    (house / "part.yaml").write_text("version: 1\nname: part\nduplicates: {window: 5s}\n")
    assert warned(house, policy="include: [./part.yaml]\n") == [
        "3: duplicates: this does not count here: the window is that of the policy's own file"
    ]
    assert warned(house, policy="duplicates: {window: 5s}\n") == []


# What a start would refuse.


@pytest.mark.parametrize(
    ("policy", "said"),
    [
        (
            "rules:\n  - {name: a, when: {receiver: vfh}, then: keep}\n",
            'own.yaml:4: rules[0].when.receiver: the station file has no receiver vfh - did you mean "vhf"?',
        ),
        (
            "rules:\n  - name: a\n    when: {source: Q*, not: {receiver: [vhf, zz]}}\n    then: keep\n",
            "own.yaml:5: rules[0].when.not.receiver: the station file has no receiver zz; it has vhf",
        ),
        (
            "rates:\n  - {name: a, when: {receiver: zz}, allow: 1 per day}\n",
            "own.yaml:4: rates[0].when.receiver: the station file has no receiver zz; it has vhf",
        ),
    ],
)
def test_a_policy_that_asks_for_a_receiver_that_there_is_not_is_refused(house: Path, policy: str, said: str) -> None:
    assert refused(house, policy=policy) == [said]
    assert refused(house, policy=policy.replace("vfh", "vhf").replace("zz", "vhf")) == []


def test_a_database_of_another_program_in_the_journals_place_is_refused(house: Path) -> None:
    with sqlite3.connect(house / "stile.db") as other:
        other.execute("CREATE TABLE theirs (number)")
    other.close()
    (told,) = refused(house, "journal: {path: stile.db}\n")
    assert told.startswith("station.yaml:6: journal.path: /stile.db is a database of another program")


def test_a_journal_of_a_later_version_is_refused(house: Path) -> None:
    with sqlite3.connect(house / "stile.db") as later:
        later.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        later.execute("PRAGMA user_version = 9999")
    later.close()
    (told,) = refused(house, "journal: {path: stile.db}\n")
    assert told.startswith("station.yaml:6: journal.path: /stile.db is a journal of version 9999")


def test_an_embedded_broker_that_is_not_installed_is_refused(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert refused(house, "bus:\n  broker: embedded\n") == []
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    (told,) = refused(house, "bus:\n  broker: embedded\n")
    installing = f"{sys.prefix}/bin/pip install 'stile[broker]'"
    assert told.startswith(f"station.yaml:7: bus.broker: the embedded broker is not installed: {installing}")


def test_a_club_that_lacks_what_it_needs_is_refused(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    club = "club: {name: wrackholm, servers: [embedded], role: post}\n"
    monkeypatch.setattr(checking, "find_program", lambda: None)
    assert refused(house, club) == []
    missing = club.replace("role: post", "role: post, credentials_file: /none/x")
    assert refused(house, missing) == [
        "station.yaml:6: club.credentials_file: /none/x cannot be read: No such file or directory"
    ]
    monkeypatch.setattr(importlib.util, "find_spec", lambda _name: None)
    assert refused(house, club) == [
        f"station.yaml:6: club: what a club needs is not installed: {sys.prefix}/bin/pip install 'stile[club]'"
    ]


def test_a_hub_without_receivers_listens_to_its_posts_and_measures_from_them(house: Path) -> None:
    club = "club: {name: wrackholm, servers: ['nats://127.0.0.1:4222'], role: hub}\n"
    words = checked(house, club, station="station: {callsign: QX1HUB-10}\n").in_words()
    assert "  listens to  what the posts of the club hear\n" in words
    assert "  place       not said: distances are from each post\n" in words


def test_a_hub_of_a_club_may_ask_for_receivers_of_its_posts(house: Path) -> None:
    policy = "rules:\n  - {name: a, when: {receiver: headland/vhf}, then: keep}\n"
    club = "club: {name: wrackholm, servers: ['nats://127.0.0.1:4222'], role: hub}\n"
    assert refused(house, club, policy=policy) == []
    assert refused(house, policy=policy) != []


def test_problems_of_secrets_and_of_the_policy_are_told_together(house: Path) -> None:
    (house / "passcode").write_text("1")
    more = "uplink: {servers: [tcp://server.example], passcode_file: passcode}\n"
    said = refused(house, more, policy="rules: [{name: a}]\n")
    assert [line.split(": ")[1] for line in said] == ["uplink.passcode_file", "rules[0].then"]
