"""What the sections of a station file must be to one another."""

from pathlib import Path

import pytest

from tests.settings.reading import BASE, STATION, load, refused


@pytest.mark.parametrize("server", ["tcp://server.example", "tcp://192.0.2.1:14580", "tcp://localhost.example"])
def test_a_capture_beside_an_uplink_to_elsewhere_is_refused(tmp_path: Path, server: str) -> None:
    text = f"{BASE}uplink: {{servers: ['tcp://127.0.0.1', '{server}']}}".replace(
        "kiss+tcp://127.0.0.1:7581", "file:///x"
    )
    (said,) = refused(tmp_path, text)
    assert said.startswith(
        "station.yaml:2: receivers[0].from: a capture is stamped as heard now, so with an uplink to "
    )
    assert said.endswith("leave `uplink:` out, or play the capture to a server on loopback")


def test_a_capture_beside_an_uplink_on_this_computer_is_fine(tmp_path: Path) -> None:
    capture = BASE.replace("kiss+tcp://127.0.0.1:7581", "file:///x")
    load(tmp_path, capture)
    load(
        tmp_path,
        capture + "uplink: {servers: ['tcp://127.0.0.1', 'tcp://localhost:1', 'tcp://[::1]', 'tcp://127.9.9.9']}",
    )


def two_udp(first: str, second: str) -> str:
    """A station file with two receivers that listen."""
    return STATION + (
        "receivers:\n"
        f"  - {{name: a, from: 'tnc2+udp://{first}', allow: [192.0.2.1]}}\n"
        f"  - {{name: b, from: 'axudp://{second}', allow: [192.0.2.1]}}\n"
    )


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (
            BASE + "lines: {listen: '127.0.0.1:9000'}\nweb:\n  listen: 127.0.0.1:9000\n",
            "5: web.listen: port 9000 is the one of lines.listen, line 3: give each a port of its own",
        ),
        (
            BASE + "web: {listen: 'localhost:1883'}\nbus:\n  broker: embedded\n",
            "5: bus.broker: port 1883 is the one of web.listen, line 3: give each a port of its own",
        ),
        (
            BASE + "lines: {listen: '0.0.0.0:7583'}\nweb: {}\n",
            "4: web.listen: port 7583 is the one of lines.listen, line 3: give each a port of its own",
        ),
        (
            BASE + "bus: {broker: 'embedded:7582'}\nlines: {}\n",
            "3: bus.broker: port 7582 is the one of lines.listen, line 4: give each a port of its own",
        ),
        (
            two_udp("0.0.0.0:9000", "192.0.2.9:9000"),
            "4: receivers[1].from: port 9000 is the one of receivers[0].from, line 3: give each a port of its own",
        ),
    ],
)
def test_a_port_that_is_used_twice_is_told_with_both_places(tmp_path: Path, text: str, said: str) -> None:
    assert refused(tmp_path, text) == [f"station.yaml:{said}"]


@pytest.mark.parametrize(
    "text",
    [
        BASE + "lines: {listen: '127.0.0.1:9000'}\nweb: {listen: '127.0.0.2:9000'}\n",
        BASE + "lines: {}\nweb: {}\nbus: {broker: embedded}\n",
        BASE + "bus: {broker: 'mqtt://127.0.0.1:7583'}\nweb: {}\n",  # that one is called, not listened at
        two_udp("127.0.0.1:9000", "127.0.0.1:9001"),
        two_udp("127.0.0.1:7583", "127.0.0.1:9001") + "web: {}\n",  # ports of UDP and TCP are two
    ],
)
def test_ports_that_can_all_be_listened_at_are_fine(tmp_path: Path, text: str) -> None:
    load(tmp_path, text)


@pytest.mark.parametrize(
    ("path", "said"),
    [
        ("none/stile.db", "there is no folder {}/none: make it, or name another place for the journal"),
        ("stile.db/x", "there is no folder {}/stile.db: make it, or name another place for the journal"),
    ],
)
def test_a_journal_without_a_place_is_refused(tmp_path: Path, path: str, said: str) -> None:
    (tmp_path / "stile.db").touch()
    (told,) = refused(tmp_path, BASE + f"journal:\n  path: {path}\n")
    assert told == f"station.yaml:4: journal.path: {said.replace('{}', str(tmp_path))}"
