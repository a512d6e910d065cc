"""Finds out all that the checks judge: everything at the same time, each within a bounded time of its own."""

import asyncio
import os
import re
from collections.abc import Awaitable, Callable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import TypeVar

from gateway.commands.checking import CheckReport, check_station
from gateway.commands.watching.client import Client, UnansweredError, gateway_of
from gateway.doctor.evidence import Evidence, Parts, PortTried, TimeAsked
from gateway.doctor.kept_frames import last_frames
from gateway.glance.shown import HealthShown, HeardShown
from gateway.groundwork.hosts import address_of
from gateway.groundwork.own_thread import in_own_thread
from gateway.groundwork.part import PartKind
from gateway.groundwork.private_files import is_folder
from gateway.groundwork.silence import without_log
from gateway.probes import broker, clock, disk, engine, listener, names, network_server, receiver, time_server
from gateway.receivers.address import HostPort
from gateway.running.lock import holder_of
from gateway.settings import (
    PASSCODE_VARIABLE,
    RECEIVE_ONLY_PASSCODE,
    DocumentError,
    Problem,
    StationFile,
    StationText,
    load_text,
    with_secrets,
)
from gateway.settings.whole import Port, Settings, ports

LONGEST_SECONDS = 38.0
"""What is not known by then is said to be unknown: the whole ends within 45 s, with the reading of a large policy."""

AT_A_TIME = 32
"""Probes that run together."""

_WITH_PORT = re.compile(r"([^:]+|\[.+\]):(\d{1,5})", re.ASCII)
_T = TypeVar("_T")
_Probe = Callable[[], Awaitable[_T]]


async def examine(
    path: Path, *, time_host: str | None = None, listen_seconds: float = receiver.LISTEN_SECONDS
) -> Evidence:
    """All the evidence about the station at `path`; each receiver is heard for `listen_seconds` at most."""
    probing = _Probing()
    checked = await probing.one(partial(in_own_thread, check_station, path))
    station = await probing.one(partial(in_own_thread, _read, path))
    server = time_host or await in_own_thread(clock.own_time_server)
    time = None if server is None else partial(_ask_time, server)
    with without_log():
        evidence = Evidence(checked or _unread(path), clock.look(), time=await probing.one(time))
        return evidence if station is None else await _Examination(*station, probing, listen_seconds).add_to(evidence)


class _Probing:
    """Runs probes: no more than some at a time; one that is not over in time gives None."""

    def __init__(self) -> None:
        self._until = asyncio.get_running_loop().time() + LONGEST_SECONDS
        self._turns = asyncio.Semaphore(AT_A_TIME)

    async def one(self, probe: _Probe[_T] | None) -> _T | None:
        if probe is None:
            return None
        try:
            async with asyncio.timeout_at(self._until), self._turns:
                return await probe()
        except TimeoutError:
            return None

    async def each(self, probes: Mapping[str, _Probe[_T]]) -> dict[str, _T | None]:
        results = await asyncio.gather(*map(self.one, probes.values()))
        return dict(zip(probes, results, strict=True))


@dataclass(slots=True)
class _Examination:
    """What is to be asked about one station, and how."""

    text: StationText
    whole: StationFile | None
    """With its secrets; None where they cannot be had."""

    gateway: int | None
    """The process of the one that runs with it: see `Evidence`."""

    probing: _Probing
    listen_seconds: float
    parts: Parts = field(default_factory=dict)

    @property
    def settings(self) -> Settings:
        """What the station file says."""
        return self.text.settings

    async def add_to(self, evidence: Evidence) -> Evidence:
        """Everything at the same time."""
        probing = self.probing
        if self.gateway is not None:
            self.parts = await probing.one(partial(said_by_gateway, self.text.path)) or {}
        async with asyncio.TaskGroup() as together:
            kept_frames = together.create_task(probing.one(self._journal()))
            folders = together.create_task(probing.each(self._folders()))
            tried = together.create_task(probing.each(self._ports()))
            receivers = together.create_task(probing.each(self._receivers()))
            looked_up = together.create_task(probing.each(self._names()))
            servers = together.create_task(probing.each(self._servers()))
            engines = together.create_task(probing.each(self._engines()))
            answered = together.create_task(probing.one(self._broker()))
        return replace(
            evidence,
            station=self.text,
            passcode_from_environment=self._passcode_from_environment(),
            gateway=self.gateway,
            parts=self.parts,
            kept_frames=kept_frames.result() or (),
            folders=tuple(filter(None, folders.result().values())),
            ports=tuple(filter(None, tried.result().values())),
            receivers=receivers.result(),
            names=looked_up.result(),
            servers=servers.result(),
            broker=answered.result(),
            engines=engines.result(),
        )

    def _journal(self) -> _Probe[tuple[HeardShown, ...]] | None:
        journal = self.settings.journal
        return None if journal is None else partial(in_own_thread, last_frames, self.text.folder / journal.path)

    def _broker(self) -> _Probe[broker.BrokerFound] | None:
        options = self.whole.bus if self.whole is not None else None
        is_ours = self.settings.bus is not None and self.settings.bus.embedded
        return None if options is None or is_ours else partial(broker.ask, options)

    def _passcode_from_environment(self) -> bool:
        uplink = self.settings.uplink
        return uplink is not None and uplink.passcode_file is None and PASSCODE_VARIABLE in os.environ

    def _folders(self) -> dict[str, _Probe[disk.FolderFound]]:
        journal = self.settings.journal
        if journal is None:
            return {}
        folders = {(self.text.folder / journal.path).parent}
        if journal.captures is not None:
            captures = self.text.folder / journal.captures
            folders.add(captures if is_folder(captures) else captures.parent)
        return {str(folder): partial(in_own_thread, disk.look, folder) for folder in sorted(folders)}

    def _ports(self) -> dict[str, _Probe[PortTried]]:
        return {str(port): partial(_try_port, port) for port in ports(self.settings)}

    def _receivers(self) -> dict[str, _Probe[receiver.ReceiverFound]]:
        return {
            one.name: partial(receiver.hear, one.name, one.address, one.allow, seconds=self.listen_seconds)
            for one in self.settings.receivers
            if (PartKind.RECEIVER, one.name) not in self.parts  # which says it, and may be the decoder's only guest
        }

    def _names(self) -> dict[str, _Probe[str]]:
        """Of all hosts that the station file names, each once."""
        hosts = [one.address.place.host for one in self.settings.receivers if isinstance(one.address.place, HostPort)]
        if self.settings.uplink is not None:
            hosts += [host for host, _ in self.settings.uplink.addresses]
        if self.settings.bus is not None:
            hosts.append(self.settings.bus.address[0])
        if self.settings.club is not None:
            hosts += [host for _, host, _ in self.settings.club.addresses]
        return {host: partial(names.look_for, host) for host in dict.fromkeys(hosts) if names.is_name(host)}

    def _servers(self) -> dict[str, _Probe[network_server.ServerFound]]:
        uplink, callsign = self.settings.uplink, self.settings.station.callsign
        if uplink is None:
            return {}
        number = self.whole.passcode_number if self.whole is not None else None
        passcode = RECEIVE_ONLY_PASSCODE if number is None else number
        return {
            address_of(host, port): partial(
                network_server.ask, host, port, callsign, passcode, watch_seconds=self.listen_seconds
            )
            for host, port in uplink.addresses
        }

    def _engines(self) -> dict[str, _Probe[str]]:
        club = self.settings.club
        if club is None or club.embedded:
            return {}
        return {
            f"{scheme}://{address_of(host, port)}": partial(engine.ask, host, port)
            for scheme, host, port in club.addresses
        }


def _read(path: Path) -> tuple[StationText, StationFile | None, int | None] | None:
    """The station file, the same with its secrets, the process of its gateway. What is wrong `check_station` tells."""
    try:
        text = load_text(path)
    except DocumentError:
        return None
    try:
        whole = with_secrets(text)
    except DocumentError:
        whole = None
    return text, whole, holder_of(path)


async def said_by_gateway(station: Path) -> Parts:
    """What the gateway that runs with this station file says of its parts, asked of its own web.

    Empty where it has none, or does not answer.
    """
    try:
        async with Client(gateway_of(station), catch_up=False) as client:
            health = HealthShown.model_validate((await client.health()).plain)
    except (DocumentError, UnansweredError):
        return {}
    return {(part.kind, part.name): part for part in health.parts}


def _unread(path: Path) -> CheckReport:
    what = "it could not be read in time: does the disk under it, or under what it names, answer?"
    return CheckReport(path, (Problem(str(path), 1, "", what),))


async def _ask_time(server: str) -> TimeAsked:
    try:
        return TimeAsked(server, await time_server.ask(*host_and_port(server)))
    except time_server.NoTimeError as error:
        return TimeAsked(server, None, str(error))


def host_and_port(server: str) -> tuple[str, int]:
    """Of a time server, written as HOST or HOST:PORT; an address of IPv6 before a port stands in brackets."""
    parts = _WITH_PORT.fullmatch(server)
    return (server.strip("[]"), time_server.TIME_PORT) if parts is None else (parts[1].strip("[]"), int(parts[2]))


async def _try_port(port: Port) -> PortTried:
    return PortTried(port, *await listener.try_port(port.kind, port.host, port.number))
