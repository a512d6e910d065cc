"""A station file in a folder, read, and what is told of one that is refused."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from gateway import settings
from gateway.documents import DocumentError
from gateway.settings import StationFile

STATION = "station: {callsign: QX1GAT-10}\n"
CLUB = "club: {{name: wrackholm, servers: ['nats://127.0.0.1:4222'], {}}}\n"
RECEIVER = "receivers: [{name: vhf, from: 'kiss+tcp://127.0.0.1:7581'}]\n"
BASE = STATION + RECEIVER
PASSCODE = "21161"  # trade-notes' check value for QX1GAT, from memory
HUSH = "hush-7f3a-hush-7f3a"

WHOLE = """\
station:
  callsign: QX1GAT-10
  position: {latitude: 58.6000, longitude: -3.9167}
receivers:
  - name: vhf
    from: kiss+tcp://127.0.0.1:7581
  - {name: lan, from: "tnc2+udp://0.0.0.0:7585", allow: [192.168.1.0/24]}
policy: receive-only
uplink:
  servers: [tcp://127.0.0.1:14580, tcp://server.example]
  passcode_file: passcode
  filter: "m/50"
  freshness: 15s
  silence: 2m
bus:
  broker: mqtts://broker.example
  base: house/radio
  username: stile
  password_file: secrets/bus
  ca: ca.pem
  certificate: post.pem
  key: post.key
  discovery: {prefix: house, callsigns: [QA1BCD-9, QB2CDE]}
  stations: {limit: 100, forget: 12h}
lines: {listen: "127.0.0.1:7592"}
web: {listen: "[::]:7593", token_file: secrets/web, hosts: [post.example]}
journal: {path: stile.db, keep: 60d, captures: captures}
"""


def load(folder: Path, text: str | bytes, environment: Mapping[str, str] | None = None) -> StationFile:
    path = folder / "station.yaml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return settings.load(path, environment or {})


def refused(folder: Path, text: str | bytes, environment: Mapping[str, str] | None = None) -> list[str]:
    with pytest.raises(DocumentError) as refusal:
        load(folder, text, environment)
    return [str(problem).removeprefix(f"{folder}/") for problem in refusal.value.problems]


def uplink_with(passcode_file: str = "") -> str:
    """A station file with an uplink."""
    return BASE + f"uplink: {{servers: [tcp://a]{passcode_file and f', passcode_file: {passcode_file}'}}}"
