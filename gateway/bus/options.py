"""What the bus is told: which broker, as whom, and how much may wait for it."""

import ssl
import zlib
from dataclasses import dataclass, field
from pathlib import Path

from gateway.groundwork.back_off import Pauses
from gateway.groundwork.certificates import CertificateError, take_certificate, why_unusable
from gateway.groundwork.duration import DAY_MS
from gateway.groundwork.hosts import address_of

STATIONS_FORGET_MS = DAY_MS
"""How long a station stays on the bus after it was last heard, where the station file does not say."""


class BusOptionsError(Exception):
    """A file that the options name cannot be used; the message says which, why, and what to do."""


@dataclass(frozen=True, slots=True)
class QueueLimits:
    """How many messages may wait for the broker, by topic group. Beyond it the oldest are shed.

    An entry holds a frame and, once encoded, its JSON: about 2 kB, so that the defaults stay under 8 MB.
    """

    heard: int = 2000
    forwarded: int = 1000
    lines: int = 2000
    alerts: int = 200
    """The fewest, yet shed last: alerts go before everything else, and each is tried until the broker has it."""


@dataclass(frozen=True, slots=True)
class BusPace:
    """How long the bus waits for what, in seconds."""

    connect: float = 5.0
    """For the connection, for TLS, and for the broker's welcome, each."""

    answer: float = 10.0
    """For the broker to take what it is given."""

    learn: float = 3.0
    """For the broker to tell which station topics it holds: one that lets us read nothing never does."""

    keep_alive: int = 15
    """A broker that is silent for twice this long is left (MQTT 5.0 section 3.1.2.10)."""

    pauses: Pauses = Pauses(first=1.0, longest=60.0)
    """Before the broker is tried again."""

    tidy: float = 60.0
    """How often stations are forgotten and what was shed is said."""


@dataclass(frozen=True, slots=True)
class Tls:
    """How a TLS connection is secured. Without a CA, those that the system trusts count."""

    ca: Path | None = None
    certificate: Path | None = None
    """The gateway's own, where the broker asks for one; `key` may stand in the same file."""

    key: Path | None = None

    def context(self) -> ssl.SSLContext:
        """Read the files anew, as certificates are renewed while the gateway runs. Raises `BusOptionsError`."""
        context = ssl.create_default_context()
        try:
            if self.ca is not None:
                context = ssl.create_default_context(cafile=self.ca)
        except (OSError, ssl.SSLError) as error:
            why = why_unusable(error)
            raise BusOptionsError(f"bus.ca: {self.ca}: {why}; give a file of PEM certificates") from None
        if self.certificate is not None:
            try:
                take_certificate(context, self.certificate, self.key)
            except CertificateError as error:
                raise BusOptionsError(f"bus.certificate, bus.key: {error.strerror}") from None
        context.sslsocket_class = _TidySocket
        return context


class _TidySocket(ssl.SSLSocket):
    """Closes itself when its handshake fails; whoever called for it has nothing in hand to close."""

    def do_handshake(self, block: bool = False) -> None:  # noqa: FBT001, FBT002 - as its parent has it
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


@dataclass(frozen=True, slots=True)
class DiscoveryOptions:
    """What a home-automation hub is told of."""

    prefix: str
    """What the hub's own topics begin with."""

    callsigns: tuple[str, ...]
    """The stations that it is told of beside the gateway; no other is, whatever is heard."""


@dataclass(frozen=True, slots=True)
class BusOptions:
    """Where the broker is and what it gets."""

    host: str
    port: int
    callsign: str
    base: str
    """What our topics begin with."""

    mqtt_5: bool
    """Whether to try MQTT 5 before 3.1.1. Not worth trying with the embedded broker, which waits for ever for the rest
    of a CONNECT of 5 that it takes for one of 3.1.1."""

    tls: Tls | None
    username: str | None
    password: str | None = field(repr=False)
    discovery: DiscoveryOptions | None
    """None: nothing is said to a hub."""

    stations_forget_ms: int
    own_door: str | None = None
    """Of the embedded broker: the name of a socket where nobody else waits, which is taken in the place of the port."""

    limits: QueueLimits = QueueLimits()
    pace: BusPace = BusPace()

    @property
    def broker(self) -> str:
        """The broker's address, for people; it names no user."""
        return f"{'mqtts' if self.tls else 'mqtt'}://{address_of(self.host, self.port)}"

    @property
    def own_topics(self) -> list[str]:
        """What every topic begins with to which the gateway writes."""
        device = [] if self.discovery is None else [f"{self.discovery.prefix}/device/{self.client_identifier}/"]
        return [f"{self.base}/{self.callsign}/", *device]

    @property
    def client_identifier(self) -> str:
        """The same at every start, so that the broker ends what it still holds of the last connection at once.

        Were it new each time, the broker would miss the old connection only minutes later, and its will would then
        put `offline` over the `online` of the new one. At most 23 characters (MQTT 3.1.1 section 3.1.3.1).
        """
        return f"stile-{self.callsign}-{zlib.crc32(self.base.encode()) & 0xFFFF:04x}"
