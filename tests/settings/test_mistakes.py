"""Every mistake in a section is told with its file, line and key, and what to do."""

from pathlib import Path

import pytest

from tests.settings.reading import BASE, CLUB, HUSH, RECEIVER, STATION, refused

MISTAKES = [
    # station
    (RECEIVER, "1: station: this key is missing, and it is required"),
    ("station: QX1GAT\n" + RECEIVER, "1: station: keys with values belong here: callsign, position"),
    ("station:\n" + RECEIVER, "1: station: there is no value: give one here, or further in"),
    (
        "station:\n  call: QX1GAT\n  callsign: QX1GAT\n" + RECEIVER,
        '2: station.call: unknown key - did you mean "callsign"?',
    ),
    ("station:\n  position: {}\n" + RECEIVER, "1: station.callsign: this key is missing, and it is required"),
    (
        "station: {callsign: QX1GAT-100}\n" + RECEIVER,
        "1: station.callsign: 'QX1GAT-100' is no callsign for the network: 1-9 letters and digits, one hyphen at most",
    ),
    (
        "station: {callsign: DEADBEEF}\n" + RECEIVER,
        "1: station.callsign: a callsign of exactly eight hexadecimal digits cannot log in (IS-Q)",
    ),
    ("station: {callsign: 1234}\n" + RECEIVER, "1: station.callsign: text belongs here; put it in quotation marks"),
    *[
        (f"station:\n  callsign: QX1GAT\n  position: {position}\n" + RECEIVER, f"3: station.position{said}")
        for position, said in [
            ("{latitude: 91, longitude: 0}", ".latitude: this should be less than or equal to 90"),
            ("{latitude: 0, longitude: -180.1}", ".longitude: this should be greater than or equal to -180"),
            ("{latitude: .nan, longitude: 0}", ".latitude: this should be less than or equal to 90"),
            ("{latitude: 58°36', longitude: 0}", ".latitude: a number belongs here"),
            ("{latitude: 58.6}", ": give latitude and longitude in degrees, or a locator"),
            ("{}", ": give latitude and longitude in degrees, or a locator"),
            ("{locator: IO88AO, latitude: 1, longitude: 1}", ": give latitude and longitude in degrees, or a locator"),
            ("{locator: ZZ99}", ".locator: 'ZZ99' is no locator; write it as IO88AO"),
            ("{lat: 58.6, longitude: 0}", '.lat: unknown key - did you mean "latitude"?'),
            ("[58.6, -3.9]", ": keys with values belong here: latitude, longitude, locator"),
        ]
    ],
    # receivers
    (STATION, "1: receivers: name one or more receivers"),
    (STATION + "receivers: []", "2: receivers: name one or more receivers"),
    (STATION + CLUB.format("role: post"), "1: receivers: name one or more receivers"),
    (BASE + CLUB.format("role: star"), "3: club.role: this should be 'post' or 'hub'"),
    (BASE + "uplink: {servers: [tcp://a]}\n" + CLUB.format("role: post"), "3: uplink: a post of a club has no"),
    (BASE + CLUB.format("role: hub, lease: 1s"), "3: club.lease: this should be from 2s to 60s"),
    (BASE + CLUB.format("role: post, slices: [0]"), "3: club.slices: slices are for hubs: a post hands on all"),
    (BASE + CLUB.format("role: hub, slices: [1, 1]"), "3: club.slices: name each slice once"),
    (BASE + CLUB.format("role: hub, slices: [16]"), "3: club.slices[0]: this should be"),
    (BASE + CLUB.format("role: hub, slices: []"), "3: club.slices: "),
    (BASE + CLUB.format("role: post, post: Head land"), "3: club.post: 'Head land' is no name in a club"),
    (BASE + CLUB.format("role: post, user: headland"), "3: club: user and password_file go together"),
    (BASE + CLUB.format("role: post, ca: ca.pem"), "3: club.ca: ca is for engines at tls://"),
    (
        BASE + CLUB.format("role: post, credentials_file: a, user: b, password_file: c"),
        "3: club.user: give credentials_file, or user and password_file",
    ),
    (
        BASE + "club: {name: w, servers: ['nats://engine.example:4222'], role: post, user: a, password_file: b}",
        "3: club.password_file: a password would go to engine.example in the clear",
    ),
    (BASE + "club: {name: w, servers: ['embedded:x'], role: post}", "3: club.servers[0]: 'embedded:x': write"),
    (BASE + "club: {name: w, servers: [embedded, 'nats://a'], role: post}", "3: club.servers: an embedded engine is"),
    (BASE + "club: {name: w, servers: ['nats://u:p@h'], role: post}", "3: club.servers[0]: an address holds no user"),
    (STATION + "receivers: {name: vhf}", "2: receivers: a list belongs here, as [one, another]"),
    (STATION + "receivers:\n  - name: vhf", "3: receivers[0].from: this key is missing, and it is required"),
    (
        STATION + "receivers:\n  - name: vhf\n    form: x",
        '4: receivers[0].form: unknown key - did you mean "from"?',
    ),
    (
        STATION + "receivers:\n  - name: vhf\n    from: x\n    address: 'kiss+tcp://127.0.0.1:1'",
        "5: receivers[0].address: unknown key; the keys here are name, allow, from",
    ),
    (
        STATION + "receivers:\n  - {name: VHF 1, from: 'kiss+tcp://127.0.0.1:1'}",
        "3: receivers[0].name: 'VHF 1' is no name: write small letters, digits and hyphens, no more than 63",
    ),
    (
        STATION + "receivers:\n  - {name: a, from: 'kiss+tpc://127.0.0.1:1'}",
        "3: receivers[0].from: 'kiss+tpc' is no kind of receiver: write kiss+tcp://host:port",
    ),
    (
        STATION + "receivers:\n  - {name: a, from: 7581}",
        "3: receivers[0].from: a receiver's address belongs here, as kiss+tcp://127.0.0.1:7581",
    ),
    (
        STATION + "receivers:\n  - {name: a, from: 'kiss+tcp://a:1'}\n  - name: a\n    from: 'kiss+tcp://a:2'",
        "4: receivers[1].name: two receivers are called a: give each a name of its own",
    ),
    (
        STATION + "receivers:\n  - {name: a, from: 'tnc2+udp://0.0.0.0:1'}",
        (
            "3: receivers[0].from: tnc2+udp://0.0.0.0:1 listens to other computers: "
            "name them in allow: [addresses], or listen on 127.0.0.1"
        ),
    ),
    # policy
    (BASE + "policy: 3", "3: policy: text belongs here; put it in quotation marks"),
    # uplink
    (BASE + "uplnk: {}", '3: uplnk: unknown key - did you mean "uplink"?'),
    (BASE + "uplink:", "3: uplink: there is no value: give one here, or further in"),
    (BASE + "uplink: {}", "3: uplink.servers: this key is missing, and it is required"),
    (BASE + "uplink: {servers: []}", "3: uplink.servers: at least one belongs here"),
    (BASE + "uplink: {servers: tcp://a}", "3: uplink.servers: a list belongs here, as [one, another]"),
    *[
        (
            BASE + f"uplink:\n  servers: [{address!r}]",
            f"4: uplink.servers[0]: {address!r} is no address; write it as tcp://server.example:14580",
        )
        for address in [
            "tcp://a:0", "tcp://a:65536", "tcp://a:x", "udp://a:1", "a:1", "tcp://", "tcp:///x", "tcp://a/x",
            "tcp://a?x", "tcp://a#x", "tcp://a b", "tcp://[::1", f"tcp://{'a' * 64}.example", "mqtt://a",
        ]
    ],
    *[
        (BASE + f"uplink:\n  servers: [tcp://a]\n  {key}: {value}", f"5: uplink.{key}: {said}")
        for key, value, said in [
            ("passcode", HUSH, 'unknown key - did you mean "passcode_file"?'),
            ("filter", '"a\\nb"', r"'a\nb' is no filter: one line of ASCII, 400 at most"),
            ("filter", "filter m/50", "the word filter is not wanted here: write m/50"),
            ("filter", '"#Filter  m/50 t/m"', "the word filter is not wanted here: write m/50 t/m"),
            ("filter", "filter", "the word filter is not wanted here: write m/50, or what else is wanted"),
            ("freshness", "10", "10 is no length of time; write a number and its unit, as 30s, 5m, 24h or 30d"),
            ("freshness", "500ms", "this should be from 1s to 60s"),
            ("freshness", "2m", "this should be from 1s to 60s"),
            ("silence", "29s", "this should be from 30s to 10m"),
            ("silence", "1h", "this should be from 30s to 10m"),
        ]
    ],
    # bus
    (BASE + "bus: {}", "3: bus.broker: this key is missing, and it is required"),
    *[
        (
            BASE + f"bus:\n  broker: {address!r}",
            (
                f"4: bus.broker: {address!r} is no address; "
                "write it as mqtt://127.0.0.1:1883, mqtts://broker.example:8883 or embedded"
            ),
        )
        for address in ["ws://a", "a:1883", "mqtt://", "mqtt://a:0", "mqtt://a/x", "embed"]
    ],
    *[
        (
            BASE + f"bus:\n  broker: {address!r}",
            f"4: bus.broker: {address!r}: write `embedded`, or `embedded:1883` with another port",
        )
        for address in ["embedded:", "embedded:x", "embedded:65536", "embedded:-1"]
    ],
    *[
        (BASE + f"bus:\n  broker: mqtt://127.0.0.1\n  {key}: {value}", f"5: bus.{key}: {said}")
        for key, value, said in [
            ("password", HUSH, 'unknown key - did you mean "password_file"?'),
            ("base", "a/#", "'a/#' cannot begin a topic: it holds +, # or a control character"),
            ("base", "/a", "'/a' cannot begin a topic: it is empty, or has a / too many"),
            ("base", "''", "'' cannot begin a topic: it is empty, or has a / too many"),
            ("base", "$house", "'$house' cannot begin a topic: topics that begin with $ are the broker's own; write"),
            ("base", "x" * 129, f"'{'x' * 129}' cannot begin a topic: it is longer than 128 octets"),
            ("username", '"a\\0b"', r"'a\x00b' is no name of a user: 1 to 256 characters"),
        ]
    ],
    *[
        (BASE + f"bus:\n  broker: mqtt://127.0.0.1\n  stations: {{{key}: {value}}}", f"5: bus.stations.{key}: {said}")
        for key, value, said in [
            ("limit", "0", "this should be greater than or equal to 1"),
            ("limit", "100001", "this should be less than or equal to 100000"),
            ("limit", "many", "a whole number belongs here"),
            ("forget", "5s", "this should be from 1m to 366d"),
            ("forgt", "5h", 'unknown key - did you mean "forget"?'),
        ]
    ],
    (
        BASE + "bus: {broker: 'mqtt://127.0.0.1', ca: ca.pem}",
        "3: bus.ca: ca, certificate and key are for a broker at mqtts://",
    ),
    (BASE + "bus: {broker: 'mqtts://a', key: k.pem}", "3: bus.key: certificate and key go together: give both"),
    (BASE + "bus: {broker: 'mqtts://a', certificate: k.pem}", "3: bus: certificate and key go together: give both"),
    *[
        (BASE + f"bus:\n  broker: mqtt://a\n  discovery:\n    {key}: {value}", f"6: bus.discovery.{key}: {said}")
        for key, value, said in [
            ("prefix", "'#'", "'#' cannot begin a topic: it holds +, # or a control character"),
            ("prefix", "$SYS", "'$SYS' cannot begin a topic: topics that begin with $ are the broker's own"),
            ("callsign", "QA1", 'unknown key - did you mean "callsigns"?'),
            ("callsigns", "QA1", "a list belongs here, as [one, another]"),
        ]
    ],
    (
        BASE + "bus:\n  broker: mqtt://a\n  discovery:\n    callsigns:\n    - QA1\n    - 'QA1*'\n",
        "8: bus.discovery.callsigns[1]: 'QA1*' is no callsign: write one, as QA1BCD-9, not a pattern",
    ),
    # lines, web, journal
    *[
        (BASE + f"{section}:\n  listen: {address}", f"4: {section}.listen: {said} {as_in}")
        for section, as_in in [
            ("lines", "is no place to listen at; write it as 127.0.0.1:7582"),
            ("web", "is no place to listen at; write it as 127.0.0.1:7583"),
        ]
        for address, said in [
            ("7582", "7582"), ("127.0.0.1:x", "'127.0.0.1:x'"), ("127.0.0.1:65536", "'127.0.0.1:65536'"),
            ("''", "''"), ("a b:1", "'a b:1'"), ("tcp://127.0.0.1:1", "'tcp://127.0.0.1:1'"), ("a@b:1", "'a@b:1'"),
        ]
    ],
    (BASE + "lines:\n  listn: x", '4: lines.listn: unknown key - did you mean "listen"?'),
    (BASE + "web:\n  token: x", '4: web.token: unknown key - did you mean "token_file"?'),
    *[
        (
            BASE + f"web: {{listen: '{host}:7583'}}",
            f"3: web.listen: {host.strip('[]')} can be reached from other computers: name a file",
        )
        for host in ("0.0.0.0", "192.168.1.2", "[::]", "post.example")
    ],
    (BASE + "journal: {}", "3: journal.path: this key is missing, and it is required"),
    (BASE + "journal:\n  path: a\n  keep: 30", "5: journal.keep: 30 is no length of time; write a number and its unit"),
    (BASE + "journal:\n  path: a\n  keep: 5m", "5: journal.keep: this should be from 1h to 3660d"),
    *[
        (BASE + f"journal:\n  path: {path}", "4: journal.path: ")
        for path in ("''", ".", "/", "..", "a/..")
    ],
    (BASE + "journal:\n  path: [a]", "4: journal.path: a path belongs here"),
    # the file
    ("station: [", "1: the bracket [ that opens here is not closed: write ] at its end"),
    (b"a: \xff\xfe\x00", "1: cannot be read: it is no UTF-8 text, see its line 1: save it as UTF-8"),
    (b"\0" * 5_000_000, "1: cannot be read: it is longer than 4194304 octets"),
]  # fmt: skip


@pytest.mark.parametrize(("text", "said"), MISTAKES, ids=lambda value: repr(value[-70:]))
def test_a_mistake_is_told_with_its_file_line_and_key_and_what_to_do(
    tmp_path: Path, text: str | bytes, said: str
) -> None:
    told = refused(tmp_path, text)
    assert any(line.startswith(f"station.yaml:{said}") for line in told), told
