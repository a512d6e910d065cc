"""What is on this computer: decoders that listen, serial devices, a broker, the address in the house.

A port of loopback is connected to, and listened at; nothing is said there. A serial device is only listed: opening one
raises its control lines, and such a line may key a transmitter.
"""

import asyncio
import importlib.util
import re
import socket
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import islice
from pathlib import Path

from gateway.frames import tnc2
from gateway.groundwork.printable import printable
from gateway.probes import speech
from gateway.probes.speech import Speech
from gateway.receivers.address import HostPort
from gateway.settings import LINES_PORT, MQTT_PORT, WEB_PORT
from gateway.setup.console import Console

LISTEN_SECONDS = 5.0
MOST_PORTS = 64
_SHOWN = 60
"""Characters of a frame."""

_TABLES = (Path("/proc/net/tcp"), Path("/proc/net/tcp6"))
_LISTENING = re.compile(r"^\s*\d+:\s(?P<host>[0-9A-F]{8}|[0-9A-F]{32}):(?P<port>[0-9A-F]{4})\s\S+\s0A\s", re.MULTILINE)
"""A line of it: state 0A listens, numbers are hexadecimal, addresses of the computer's own byte order (proc(5))."""

_HERE = frozenset({"0100007F", "00000000", "0" * 32, "0" * 24 + "01000000"})
"""127.0.0.1, every address, and both of IPv6, as a computer with the low octet first writes them."""

_DEVICES = ("dev/serial/by-id/*", "dev/ttyUSB*", "dev/ttyACM*", "dev/ttyAMA*")
_UNSEEN = (Path("/home"), Path("/root"), Path("/run/user"), Path("/tmp"), Path("/var/tmp"))  # noqa: S108 - not used
"""What a service does not see (systemd.exec(5), ProtectHome and PrivateTmp)."""

_PLAIN_PATH = re.compile(r"[A-Za-z0-9/._+-]+")
"""What a unit file takes as it is: a space would part it, a per cent sign begin a specifier (systemd.syntax(7))."""

_SERVICES = Path("/etc")
_NO_DECODERS = frozenset({MQTT_PORT, LINES_PORT, WEB_PORT})
"""Ports of a broker and of a gateway, whose text port looks like a decoder."""

_NOBODY = ("192.0.2.1", 9)
"""An address of RFC 5737: connecting a datagram socket sends nothing, and shows the address that would be used."""


@dataclass(frozen=True, slots=True)
class FoundDecoder:
    """What listens at a port of this computer, and what was heard there."""

    address: str
    """As the station file writes it; a port that said nothing is taken to speak KISS."""

    speaks: bool
    """Whether a frame was heard."""

    heard: str
    """In words, printable."""


class ThisComputer:
    """What is around, looked for when it is first asked for."""

    def __init__(self, folder: Path, console: Console) -> None:
        self._folder = folder.resolve()
        self._console = console

    @cached_property
    def decoders(self) -> list[FoundDecoder]:
        """What listens on loopback and may be a decoder."""
        ports = [port for port in listening_ports() if port not in _NO_DECODERS]
        if ports:
            self._console.say("Listening at what is open on this computer, for up to 5 s ...")
        return asyncio.run(find_decoders(ports))

    @cached_property
    def serial_devices(self) -> list[str]:
        """What a modem may stand behind."""
        return serial_devices()

    @property
    def has_broker(self) -> bool:
        """Whether something listens at a broker's usual place."""
        return MQTT_PORT in listening_ports()

    @property
    def can_embed_a_broker(self) -> bool:
        """Whether what the broker in the process needs is installed."""
        return importlib.util.find_spec("amqtt") is not None

    @property
    def is_for_a_service(self) -> bool:
        """Whether the folder is one of those where services have theirs."""
        return _SERVICES in self._folder.parents

    @property
    def can_be_a_service(self) -> bool:
        """Whether the folder, and this program, lie where a service may read."""
        places = (self._folder, Path(sys.prefix).resolve())
        is_in_sight = not any(unseen == place or unseen in place.parents for unseen in _UNSEEN for place in places)
        return is_in_sight and all(_PLAIN_PATH.fullmatch(str(place)) for place in places)


def listening_ports(tables: Iterable[Path] = _TABLES) -> list[int]:
    """The ports of TCP that somebody listens at on this computer's loopback."""
    ports: set[int] = set()
    for table in tables:
        try:
            text = table.read_text("ascii", "replace")
        except OSError:
            continue
        ports |= {int(line["port"], 16) for line in _LISTENING.finditer(text) if line["host"] in _HERE}
    return sorted(ports)


def serial_devices(root: Path = Path("/")) -> list[str]:
    """The devices that a modem may stand behind, those with names that stay first, each once."""
    devices: dict[Path, str] = {}
    for pattern in _DEVICES:
        for path in sorted(root.glob(pattern)):
            devices.setdefault(path.resolve(), f"/{path.relative_to(root)}")
    return list(devices.values())


async def find_decoders(ports: Iterable[int], *, seconds: float = LISTEN_SECONDS) -> list[FoundDecoder]:
    """Listen at each of these ports of loopback at the same time; those where a frame was heard come first."""
    first_ports = list(islice(ports, MOST_PORTS))
    heard = await asyncio.gather(*(speech.listen(HostPort("127.0.0.1", port), seconds=seconds) for port in first_ports))
    decoders = [_described(port, each) for port, each in zip(first_ports, heard, strict=True) if _may_be_one(each)]
    return sorted(decoders, key=lambda decoder: not decoder.speaks)


def address_in_the_house() -> str | None:
    """The address under which other computers of the house reach this one; None where it is in no network."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        try:
            asking.connect(_NOBODY)
        except OSError:
            return None
        host: str = asking.getsockname()[0]
        return host


def _may_be_one(heard: Speech) -> bool:
    """A decoder speaks frames, or nothing yet: what says something else, or hangs up, is none."""
    return heard.open and (heard.language is not None or (not heard.octets and not heard.trouble))


def _described(port: int, heard: Speech) -> FoundDecoder:
    if heard.language is None or heard.frame is None:
        return FoundDecoder(f"kiss+tcp://127.0.0.1:{port}", speaks=False, heard="said nothing; may be a decoder")
    line = printable(tnc2.write(heard.frame).decode("utf-8", "replace"), _SHOWN)
    spoken = "KISS" if heard.language is speech.Language.KISS else "monitor text"
    return FoundDecoder(f"{heard.language}+tcp://127.0.0.1:{port}", speaks=True, heard=f"speaks {spoken}: {line}")
