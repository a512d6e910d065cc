"""A station file is read whole: every section and key, each with its stated value where it is left out."""

from pathlib import Path

import pytest

from gateway import settings
from gateway.documents import DocumentError
from gateway.receivers.address import Scheme
from tests.settings.reading import BASE, HUSH, RECEIVER, WHOLE, load


def test_every_key_of_a_station_file_is_read(house: Path) -> None:
    station = load(house, WHOLE)
    read = station.settings
    assert (read.station.callsign, read.post.latitude, read.post.longitude) == ("QX1GAT-10", 58.6, -3.9167)
    assert [(receiver.name, receiver.address.scheme) for receiver in read.receivers] == [
        ("vhf", Scheme.KISS_TCP),
        ("lan", Scheme.TNC2_UDP),
    ]
    assert read.receivers[1].allow == ["192.168.1.0/24"]
    assert read.policy == "receive-only"
    assert read.uplink is not None
    assert read.uplink.addresses == (("127.0.0.1", 14580), ("server.example", 14580))
    assert (read.uplink.filter, read.uplink.freshness, read.uplink.silence) == ("m/50", 15_000, 120_000)
    assert read.bus is not None
    assert (read.bus.address, read.bus.tls, read.bus.embedded) == (("broker.example", 8883), True, False)
    assert (read.bus.base, read.bus.username) == ("house/radio", "stile")
    assert (read.bus.ca, read.bus.certificate, read.bus.key) == (Path("ca.pem"), Path("post.pem"), Path("post.key"))
    assert (read.bus.stations.limit, read.bus.stations.forget) == (100, 43_200_000)
    assert read.bus.discovery is not None
    assert (read.bus.discovery.prefix, read.bus.discovery.callsigns) == ("house", ["QA1BCD-9", "QB2CDE"])
    assert read.lines is not None
    assert read.lines.listen == ("127.0.0.1", 7592)
    assert read.web is not None
    assert (read.web.listen, read.web.hosts) == (("::", 7593), ["post.example"])
    assert read.journal is not None
    assert (read.journal.path, read.journal.captures) == (Path("stile.db"), Path("captures"))
    assert read.journal.keep == 60 * 86_400_000
    assert (station.folder, station.passcode_number) == (house, 21161)
    assert station.bus_password is not None
    assert station.bus_password.get_secret_value() == HUSH
    assert station.web_token is not None
    assert station.web_token.get_secret_value() == HUSH


def test_a_section_that_is_left_out_is_off_and_keys_have_their_stated_values(tmp_path: Path) -> None:
    station = load(tmp_path, BASE)
    read = station.settings
    assert (read.policy, read.uplink, read.bus, read.station.position) == ("receive-only", None, None, None)
    assert (station.passcode, station.passcode_number, station.bus_password) == (None, None, None)
    assert read.post.origin is None
    more = load(tmp_path, BASE + "uplink: {servers: [tcp://a]}\nbus: {broker: 'mqtt://a'}").settings
    assert more.uplink is not None
    assert more.bus is not None
    assert (more.uplink.filter, more.uplink.freshness, more.uplink.silence) == ("", 10_000, 90_000)
    assert (more.bus.base, more.bus.stations.limit, more.bus.stations.forget) == ("stile", 5000, 86_400_000)
    assert (more.bus.discovery, more.lines, more.web, more.journal) == (None, None, None, None)
    house = load(tmp_path, BASE + "lines: {}\nweb: {}\njournal: {path: a.db}\n").settings
    assert house.lines is not None
    assert house.web is not None
    assert house.journal is not None
    assert (house.lines.listen, house.web.listen) == (("127.0.0.1", 7582), ("127.0.0.1", 7583))
    assert (house.journal.keep, house.journal.captures) == (30 * 86_400_000, None)


@pytest.mark.parametrize(
    ("callsign", "read"), [("qx1gat-10", "QX1GAT-10"), ("QX1GAT", "QX1GAT"), ("QX1GAT-0", "QX1GAT"), ("Q1", "Q1")]
)
def test_a_callsign_is_written_as_the_network_writes_it(tmp_path: Path, callsign: str, read: str) -> None:
    assert load(tmp_path, f"station: {{callsign: {callsign}}}\n{RECEIVER}").settings.station.callsign == read


def test_a_position_is_degrees_or_a_locator(tmp_path: Path) -> None:
    def place(position: str) -> tuple[float | None, float | None]:
        post = load(tmp_path, f"station: {{callsign: QX1GAT, position: {position}}}\n{RECEIVER}").settings.post
        return post.latitude, post.longitude

    assert place("{latitude: -90, longitude: 180}") == (-90, 180)
    # Maidenhead: IO88AO spans 58.5833 to 58.6250 north and 4.0000 to 3.9167 west; the centre is meant.
    assert place("{locator: IO88ao}") == pytest.approx((58.6041667, -3.9583333))


def test_a_station_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(DocumentError, match=r"none\.yaml:1: cannot be read: No such file or directory"):
        settings.load(tmp_path / "none.yaml", {})


def test_a_policy_or_a_folder_in_the_place_of_a_station_file_is_called_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "mine.yaml"
    path.write_text("version: 1\nname: mine\nrules: []\n")
    with pytest.raises(DocumentError, match=r"mine.yaml:1: this is a policy, .* named in one, as policy: mine.yaml$"):
        settings.load_text(path)
    with pytest.raises(DocumentError, match=r"it is a folder; the station file in it may be .*/station.yaml$"):
        settings.load_text(tmp_path)


def test_encryption_that_was_asked_for_is_never_left_out(tmp_path: Path) -> None:
    # RFC 3986 section 3.1: the case of a scheme says nothing.
    for broker in ("mqtts://a", "MQTTS://a", "Mqtts://a:1883"):
        bus = load(tmp_path, BASE + f"bus: {{broker: '{broker}'}}").settings.bus
        assert bus is not None
        assert bus.tls
    for server in ("tls://a", "TLS://a"):
        text = BASE + f"club: {{name: wrackholm, servers: ['{server}'], role: post, ca: ca.pem}}"
        club = load(tmp_path, text).settings.club
        assert club is not None
        assert club.addresses == [("tls", "a", 4222)]


def test_an_engine_of_a_club_may_have_an_address_of_ipv6(tmp_path: Path) -> None:
    # RFC 3986 section 3.2.2: it stands in brackets.
    text = BASE + "club: {name: wrackholm, servers: ['nats://[::1]:4222'], role: post}"
    club = load(tmp_path, text).club
    assert club is not None
    assert club.engine.servers == ("nats://[::1]:4222",)


def test_the_embedded_broker_listens_on_loopback(tmp_path: Path) -> None:
    for broker, address in (("embedded", ("127.0.0.1", 1883)), ("embedded:1884", ("127.0.0.1", 1884))):
        bus = load(tmp_path, BASE + f"bus: {{broker: '{broker}'}}").settings.bus
        assert bus is not None
        assert (bus.embedded, bus.tls, bus.address) == (True, False, address)


def test_an_authority_of_the_engine_that_cannot_be_used_is_told_in_words(tmp_path: Path) -> None:
    pytest.importorskip("nats")
    station = load(tmp_path, BASE + "club: {name: w, servers: ['tls://a'], role: post, ca: ca.pem}\n")
    for text, why in ((None, "No such file or directory"), ("no certificate", "not what TLS can use")):
        if text is not None:
            (tmp_path / "ca.pem").write_text(text)
        with pytest.raises(DocumentError) as refused:
            _ = station.club
        assert [problem.what for problem in refused.value.problems] == [
            f"{tmp_path / 'ca.pem'}: {why}; give a file of PEM certificates"
        ]
