"""Addresses, topics and callsigns as the station file writes them. Every check of one stands here."""

import re
from collections.abc import Callable, Mapping
from contextlib import suppress
from typing import Annotated, NamedTuple
from urllib.parse import SplitResult, urlsplit

from pydantic import AfterValidator, BeforeValidator

from gateway.bus.topics import why_no_base
from gateway.frames.header import is_network_callsign, without_ssid_0

HIGHEST_PORT = 65_535


def host_and_port(address: str, schemes: Mapping[str, int], example: str) -> tuple[str, int]:
    """Host and port of a URL with one of the schemes, each with its usual port. Raises `ValueError`."""
    if "@" in address:  # the text of an address is logged and shown: a password in it would be, too
        raise ValueError(f"an address holds no user and no password; write it as {example}")
    try:
        parts: SplitResult = urlsplit(address)
        host, port = parts.hostname, parts.port
        (host or "").encode("idna")
    except ValueError:  # UnicodeError is one
        host = None
    more = host is not None and (parts.path.strip("/") or parts.query or parts.fragment)
    if not host or more or port == 0 or parts.scheme not in schemes or not address.isprintable() or " " in address:
        raise ValueError(f"{address!r} is no address; write it as {example}")
    return host, port or schemes[parts.scheme]


def is_embedded(address: str) -> bool:
    """Whether a broker or an engine is to be started here, on loopback."""
    return address.partition(":")[0] == "embedded"


def service_address(
    address: str, schemes: Mapping[str, int], example: str, *, lowest_port: int = 1
) -> tuple[str, str, int]:
    """Scheme, host and port of a URL as `host_and_port` reads it; or of `embedded`, as the first of the schemes.

    One that is embedded may be given another port from `lowest_port` up. Raises `ValueError`.
    """
    scheme, colon, port = address.partition(":")
    if not is_embedded(address):
        return scheme.lower(), *host_and_port(address, schemes, example)
    scheme, usual_port = next(iter(schemes.items()))
    if colon and not (re.fullmatch(r"[0-9]{1,5}", port) and lowest_port <= int(port) <= HIGHEST_PORT):
        raise ValueError(f"{address!r}: write `embedded`, or `embedded:{usual_port}` with another port")
    return scheme, "127.0.0.1", int(port) if colon else usual_port


def readable_by(read: Callable[[str], object]) -> AfterValidator:
    """A check that `read` can read a text, which stays as it is written."""

    def check(text: str) -> str:
        read(text)
        return text

    return AfterValidator(check)


class Listen(NamedTuple):
    """Where a service of the gateway's own listens."""

    host: str
    port: int


def place_to_listen(default_port: int) -> BeforeValidator:
    """Reads `127.0.0.1:7582`, or a host alone."""

    def read_it(value: object) -> object:
        if isinstance(value, str):
            with suppress(ValueError):
                return Listen(*host_and_port(f"tcp://{value}", {"tcp": default_port}, ""))
        raise ValueError(f"{value!r} is no place to listen at; write it as 127.0.0.1:{default_port}")

    return BeforeValidator(read_it)


def _topic(text: str) -> str:
    why = why_no_base(text)
    if why is not None:
        raise ValueError(f"{text!r} cannot begin a topic: {why}; write words with / between")
    return text


Topic = Annotated[str, AfterValidator(_topic)]
"""What topics begin with."""


def _callsign(text: str) -> str:
    if not is_network_callsign(text):
        raise ValueError(f"{text!r} is no callsign: write one, as QA1BCD-9, not a pattern")
    return without_ssid_0(text.upper())


Callsign = Annotated[str, AfterValidator(_callsign)]
"""Of a station, with its SSID."""
