"""Station files for property tests: proper ones, with a few values that are odd."""

from typing import Any

from hypothesis import strategies as st

ODD = st.sampled_from(
    [
        "", " ", "x", "X", "x" * 300, "é", "a\0b", "a\nb", "#", "+", "/", "..", "~", "$SYS", "$house", "a/#", "a/b",
        0, -1, 1, 65_536, 10**30, 0.5, -0.0, float("inf"), float("nan"), True, False, [], {}, ["x"], {"x": 1}, [[]],
        "127.0.0.1", "127.0.0.1:0", "127.0.0.1:7583", "0.0.0.0:7583", "[::1]:80", "[::", "localhost", "localhost:1883",
        "embedded", "embedded:", "embedded:0", "embedded:7583", "mqtt://127.0.0.1", "mqtts://a", "mqtt://u:p@a",
        "tcp://a", "tcp://a:0", "tcp://[::1]:1", "kiss+tcp://a:1", "tnc2+udp://0.0.0.0:7583", "axudp://127.0.0.1:7583",
        "file:///x", "kiss+serial:///dev/x?baud=9600", "kiss+unix:///x", "nats://a", "tls://a:1",
        "0s", "1s", "10s", "60s", "61s", "24h", "366d", "9999d", "1 s", "1m", "5km", "-5km", "0m",
        "passcode", "token", "weak", "none", "none/x", "/", "/none/x", ".", "pipe", "12345", "21161", "-1",
        "QX1GAT", "QX1GAT-0", "qx1gat-10", "DEADBEEF", "QA1BCD-9", "QA1*", "QA1BCD-99", "@club", "MYCALL",
        "receive-only", "metered-link", "hf", "nothing", "./own.yaml", "post", "hub", "vhf", "lan",
    ]
)  # fmt: skip
"""What stands somewhere by mistake, or is right in another place."""


def station() -> dict[str, Any]:
    """A station file with every section."""
    return {
        "station": {"callsign": "QX1GAT-10", "position": {"latitude": 58.6, "longitude": -3.9167}},
        "receivers": [
            {"name": "vhf", "from": "kiss+tcp://127.0.0.1:7581"},
            {"name": "lan", "from": "tnc2+udp://127.0.0.1:8200", "allow": ["192.0.2.0/24"]},
        ],
        "policy": "receive-only",
        "uplink": {
            "servers": ["tcp://127.0.0.1:14580", "tcp://server.example"],
            "passcode_file": "passcode",
            "filter": "m/50",
            "freshness": "10s",
            "silence": "90s",
        },
        "bus": {
            "broker": "mqtt://127.0.0.1",
            "base": "house",
            "username": "stile",
            "password_file": "token",
            "discovery": {"prefix": "homeassistant", "callsigns": ["QA1BCD-9"]},
            "stations": {"limit": 100, "forget": "24h"},
        },
        "lines": {"listen": "127.0.0.1:7582"},
        "web": {"listen": "127.0.0.1:7583", "token_file": "token", "hosts": ["post.example"]},
        "journal": {"path": "stile.db", "keep": "30d", "captures": "captures"},
        "club": {"name": "wrackholm", "servers": ["nats://127.0.0.1:4222"], "role": "hub", "post": "headland"},
        "alerts": [
            {"name": "near", "when": {"source": "QA1BCD-9", "distance": {"within": "5km"}}},
            {"name": "deaf", "deaf": {"for": "2h", "receiver": "vhf"}},
            {"name": "gale", "weather": {"gust_ms": {"above": 20}}},
            {"name": "sector", "area": {"latitude": 58.6, "longitude": -3.9, "radius": "5km"}, "again": "1h"},
        ],
    }


def _places(value: object, above: tuple[str | int, ...] = ()) -> list[tuple[str | int, ...]]:
    below: list[tuple[str | int, Any]] = []
    if isinstance(value, dict):
        below += value.items()
    elif isinstance(value, list):
        below += enumerate(value)
    return [above, *(place for key, inner in below for place in _places(inner, (*above, key)))]


PLACES = _places(station())[1:]
REQUIRED = {"station", "callsign", "receivers", "name", "from", "servers", "broker", "path", "role", "latitude", "for"}
OPTIONAL = [place for place in PLACES if isinstance(place[-1], str) and place[-1] not in REQUIRED]


@st.composite
def stations(draw: st.DrawFn) -> dict[str, Any]:
    """A station file without some of its parts, in which a value or two may be odd."""
    whole = station()
    for place in draw(st.lists(st.sampled_from(OPTIONAL), max_size=6)):
        _change(whole, place, lambda parent, key: parent.pop(key))
    for place in draw(st.lists(st.sampled_from(PLACES), max_size=2)):
        odd = draw(ODD)
        _change(whole, place, lambda parent, key, odd=odd: parent.__setitem__(key, odd))
    return whole


def _change(whole: dict[str, Any], place: tuple[str | int, ...], change: Any) -> None:  # noqa: ANN401 - what is done there
    """Change what stands at `place`, if something does."""
    parent: Any = whole
    try:
        for key in place[:-1]:
            parent = parent[key]
        if isinstance(parent, list | dict):
            change(parent, place[-1])
    except (KeyError, IndexError, TypeError):
        pass
