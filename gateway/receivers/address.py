"""Where a receiver listens: the text of the station file becomes a `ReceiverAddress`, or an error that helps."""

import os
import re
import termios
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from ipaddress import IPv4Network, IPv6Network, ip_network
from pathlib import Path
from urllib.parse import SplitResult, parse_qsl, unquote, urlsplit

from gateway.groundwork.loopback import is_loopback

Network = IPv4Network | IPv6Network

LOOPBACK: tuple[Network, ...] = (ip_network("127.0.0.0/8"), ip_network("::1/128"))

DEFAULT_BAUD = 9600
BAUDS = tuple(sorted(int(name[1:]) for name in dir(termios) if re.fullmatch(r"B[1-9]\d+", name)))
"""The speeds that this computer's serial lines know, in bits per second."""

_HIGHEST_PORT = 65535
_LONGEST_SOCKET_PATH = 103
"""What every system's socket address has room for."""


class AddressError(ValueError):
    """An address is wrong; the message says what is wrong with it and what would be right."""


class Scheme(StrEnum):
    """The kinds of source: what is spoken, and over what."""

    KISS_TCP = "kiss+tcp"
    KISS_UNIX = "kiss+unix"
    KISS_SERIAL = "kiss+serial"
    TNC2_TCP = "tnc2+tcp"
    TNC2_UNIX = "tnc2+unix"
    TNC2_UDP = "tnc2+udp"
    AXUDP = "axudp"
    FILE = "file"

    @property
    def form(self) -> str:
        """How an address of this kind is written."""
        return _FORMS[self]

    @property
    def listens(self) -> bool:
        """Whether it waits at a port for datagrams, and does not call out."""
        return self in {Scheme.TNC2_UDP, Scheme.AXUDP}


_FORMS = {
    Scheme.KISS_TCP: "kiss+tcp://host:port",
    Scheme.KISS_UNIX: "kiss+unix:///path/to/socket",
    Scheme.KISS_SERIAL: f"kiss+serial:///dev/ttyUSB0?baud={DEFAULT_BAUD}",
    Scheme.TNC2_TCP: "tnc2+tcp://host:port",
    Scheme.TNC2_UNIX: "tnc2+unix:///path/to/socket",
    Scheme.TNC2_UDP: "tnc2+udp://host:port",
    Scheme.AXUDP: "axudp://host:port",
    Scheme.FILE: "file:///path/to/capture",
}


@dataclass(frozen=True, slots=True)
class HostPort:
    """A TCP server to call, or a UDP port to listen on."""

    host: str
    port: int


@dataclass(frozen=True, slots=True)
class UnixSocket:
    """A stream socket in the file system."""

    path: Path


@dataclass(frozen=True, slots=True)
class SerialLine:
    """A serial device and its speed in bits per second."""

    device: Path
    baud: int = DEFAULT_BAUD


@dataclass(frozen=True, slots=True)
class CaptureFile:
    """A file of heard objects."""

    path: Path


@dataclass(frozen=True, slots=True)
class ReceiverAddress:
    """An address that was read: its kind, and the place of that kind."""

    scheme: Scheme
    place: HostPort | UnixSocket | SerialLine | CaptureFile
    text: str
    """As the operator wrote it: for logs and pages. It can hold no password."""

    def __str__(self) -> str:
        return self.text


def parse(text: str) -> ReceiverAddress:
    """Read a receiver's address. Raises `AddressError`."""
    scheme, parts = _scheme_of(text)
    if "@" in parts.netloc:
        # The text of an address is logged and shown: a secret in it would be, too.
        raise AddressError(f"a {scheme} address holds no user and no password: write {scheme.form}")
    if parts.fragment:
        raise AddressError(f"{text!r} holds a #, which has no meaning here: write {scheme.form}")
    if parts.query and scheme is not Scheme.KISS_SERIAL:
        raise AddressError(f"{text!r} holds a ?, which has no meaning here: write {scheme.form}")
    match scheme:
        case Scheme.KISS_TCP | Scheme.TNC2_TCP | Scheme.TNC2_UDP | Scheme.AXUDP:
            return ReceiverAddress(scheme, _host_and_port(text, scheme, parts), text)
        case Scheme.KISS_UNIX | Scheme.TNC2_UNIX:
            return ReceiverAddress(scheme, UnixSocket(_socket_path(text, scheme, parts)), text)
        case Scheme.KISS_SERIAL:
            return ReceiverAddress(scheme, SerialLine(_path(text, scheme, parts), _baud(text, parts.query)), text)
        case Scheme.FILE:
            return ReceiverAddress(scheme, CaptureFile(_path(text, scheme, parts)), text)


def allowed_senders(address: ReceiverAddress, allow: Sequence[str] = ()) -> tuple[Network, ...]:
    """The networks whose datagrams the UDP receiver at `address` takes: `allow`, or this computer alone.

    Anyone on the way can send a datagram, so listening to other computers needs a list of them. Raises
    `AddressError`, also where `allow` stands beside an address that calls out instead of listening.
    """
    if not address.scheme.listens or not isinstance(address.place, HostPort):
        if allow:
            raise AddressError(f"allow: belongs to udp addresses only; {address} chooses whom it hears by itself")
        return ()
    if not allow:
        if not is_loopback(address.place.host):
            raise AddressError(
                f"{address} listens to other computers: name them in allow: [addresses], or listen on 127.0.0.1"
            )
        return LOOPBACK
    return tuple(map(network, allow))


def network(text: str) -> Network:
    """One address or network of `allow:`. Raises `AddressError`."""
    try:
        return ip_network(text, strict=False)
    except ValueError:
        raise AddressError(
            f"allow: {text!r} is no address and no network: write for example 192.168.1.20 or 192.168.1.0/24"
        ) from None


def _scheme_of(text: str) -> tuple[Scheme, SplitResult]:
    if not text.isprintable() or " " in text:
        raise AddressError("the address holds a space or a control character: write a space in a path as %20")
    name, mark, _ = text.partition("://")
    if not mark:
        raise AddressError(f"the address does not say what is spoken there: write {_nearest_forms(name)}")
    try:
        scheme = Scheme(name.lower())
    except ValueError:
        raise AddressError(f"{name!r} is no kind of receiver: write {_nearest_forms(name)}") from None
    try:
        return scheme, urlsplit(text)
    except ValueError:
        raise AddressError(f"the address cannot be read: write {scheme.form}") from None


def _nearest_forms(name: str) -> str:
    """The forms of the schemes that were most likely meant: those alike, those with the same half, or all."""
    name = name.lower()
    alike = get_close_matches(name, list(Scheme), n=1, cutoff=0.75)
    nearest = [Scheme(scheme) for scheme in alike] or [
        scheme for scheme in Scheme if set(re.split(r"\W+", name)) & set(scheme.split("+"))
    ]
    forms = [scheme.form for scheme in nearest or Scheme]
    return " or ".join((", ".join(forms[:-1]), forms[-1])) if len(forms) > 1 else forms[0]


def _host_and_port(text: str, scheme: Scheme, parts: SplitResult) -> HostPort:
    if parts.path not in {"", "/"}:
        raise AddressError(f"{text!r} holds a path, which has no meaning here: write {scheme.form}")
    try:
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")
    except ValueError:  # UnicodeError is one
        raise AddressError(f"{text!r} holds no host or no port that can be: write {scheme.form}") from None
    if not host:
        raise AddressError(f"{text!r} names no host: write {scheme.form}, with 127.0.0.1 for this computer")
    if not port:
        raise AddressError(f"{text!r} names no port from 1 to {_HIGHEST_PORT}: write {scheme.form}")
    return HostPort(host, port)


def _path(text: str, scheme: Scheme, parts: SplitResult) -> Path:
    if parts.netloc:
        raise AddressError(f"{text!r} needs a whole path after three slashes: write {scheme.form}")
    path = unquote(parts.path)
    if not path.strip("/") or not path.isprintable():
        raise AddressError(f"{text!r} names no path: write {scheme.form}")
    return Path(path)


def _socket_path(text: str, scheme: Scheme, parts: SplitResult) -> Path:
    path = _path(text, scheme, parts)
    if len(os.fsencode(path)) > _LONGEST_SOCKET_PATH:
        raise AddressError(f"{text!r}: the path of a socket has at most {_LONGEST_SOCKET_PATH} octets")
    return path


def _baud(text: str, query: str) -> int:
    options = parse_qsl(query, keep_blank_values=True)
    for name, _ in options:
        if name != "baud":
            raise AddressError(f"{text!r}: {name!r} is no option of a serial line: the only one is baud")
    if not options:
        return DEFAULT_BAUD
    if len(options) > 1:
        raise AddressError(f"{text!r} states baud more than once")
    value = options[0][1]
    if value not in map(str, BAUDS):
        raise AddressError(f"{text!r}: baud is one of {', '.join(map(str, BAUDS))}")
    return int(value)
