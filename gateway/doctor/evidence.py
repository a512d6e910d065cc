"""All that was found out about a station, before anything of it is judged."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from gateway.commands.checking import CheckReport
from gateway.glance.shown import HeardShown, PartShown
from gateway.probes.broker import BrokerFound
from gateway.probes.clock import ClockFound
from gateway.probes.disk import FolderFound
from gateway.probes.listener import PortFound
from gateway.probes.network_server import ServerFound
from gateway.probes.receiver import ReceiverFound
from gateway.probes.time_server import TimeTold
from gateway.settings import StationText
from gateway.settings.whole import Port

Parts = Mapping[tuple[str, str], PartShown]
"""Of a running gateway, by kind and name."""


@dataclass(frozen=True, slots=True)
class PortTried:
    """One port that the gateway is to listen at, and whether it can."""

    port: Port
    found: PortFound
    trouble: str


@dataclass(frozen=True, slots=True)
class TimeAsked:
    """Whom the time was asked of, and what came of it."""

    server: str
    time: TimeTold | None
    trouble: str = ""


@dataclass(frozen=True, slots=True)
class Evidence:
    """What was found. A thing that took too long to find out is None, where its place says so."""

    checked: CheckReport
    clock: ClockFound
    station: StationText | None = None
    """None where the station file cannot be read: then nothing that it names was looked at."""

    passcode_from_environment: bool = False
    gateway: int | None = None
    """The process of the gateway that runs with this station file; 0: one that cannot be seen; None: none runs."""

    parts: Parts = field(default_factory=dict)
    """What that gateway says of its parts; empty where it does not answer."""

    folders: tuple[FolderFound, ...] = ()
    ports: tuple[PortTried, ...] = ()
    receivers: Mapping[str, ReceiverFound | None] = field(default_factory=dict)
    kept_frames: tuple[HeardShown, ...] = ()
    """The last frames that the journal holds, newest first."""

    time: TimeAsked | None = None
    names: Mapping[str, str | None] = field(default_factory=dict)
    """By name of a host, why it leads nowhere; empty where it leads somewhere."""

    servers: Mapping[str, ServerFound | None] = field(default_factory=dict)
    """By address, in the order in which the uplink tries them."""

    broker: BrokerFound | None = None
    engines: Mapping[str, str | None] = field(default_factory=dict)
    """By address, why it is no engine of a club; empty where it is one."""

    @property
    def gateway_runs(self) -> bool:
        """Whether a gateway runs with this station file."""
        return self.gateway is not None
