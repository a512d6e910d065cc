"""`uplink:`: the connection to the network."""

from pathlib import Path
from typing import Annotated

from pydantic import AfterValidator, Field

from gateway.documents.values import Duration, Section, between, fits
from gateway.settings.places import host_and_port, readable_by
from gateway.uplink.state import UplinkOptions

NETWORK_PORT = 14580
"""Of the network's user-filtered service (IS-Connect)."""

MOST_SERVERS = 32


def server_address(server: str) -> tuple[str, int]:
    """Host and port of a server of the network. Raises `ValueError`."""
    return host_and_port(server, {"tcp": NETWORK_PORT}, "tcp://server.example:14580")


def _without_its_command(text: str) -> str:
    """Refuse a filter that begins with the word that the login line has before it anyway."""
    command, _, filters = text.strip().partition(" ")
    if command.lower().lstrip("#") == "filter":
        raise ValueError(
            f"the word filter is not wanted here: write {filters.strip() or 'm/50, or what else is wanted'}"
        )
    return text


class UplinkSettings(Section):
    """The connection to the network."""

    servers: Annotated[list[Annotated[str, readable_by(server_address)]], Field(min_length=1, max_length=MOST_SERVERS)]
    passcode_file: Path | None = None
    filter: Annotated[
        str,
        AfterValidator(fits(r"[ -~]{0,400}", "is no filter: one line of ASCII, 400 at most")),
        AfterValidator(_without_its_command),
    ] = ""
    freshness: Annotated[Duration, between("1s", "60s")] = 10_000
    silence: Annotated[Duration, between("30s", "10m")] = 90_000

    @property
    def addresses(self) -> tuple[tuple[str, int], ...]:
        """Host and port of each server, in the order in which they are tried."""
        return tuple(map(server_address, self.servers))

    def options(self, callsign: str, passcode: int) -> UplinkOptions:
        """What the uplink is made from."""
        return UplinkOptions(
            servers=self.addresses,
            callsign=callsign,
            passcode=passcode,
            filter=self.filter,
            freshness_ms=self.freshness,
            silence_ms=self.silence,
        )
