"""What the web is told: where it listens, who may read it, and how much may wait for whom."""

import ssl
from dataclasses import dataclass, field
from pathlib import Path

from gateway.feed.health import HEALTH_SECONDS
from gateway.groundwork.certificates import take_certificate

SHARE_OF_FILES = 1 / 2
"""Of the files that the process may have open, so much may be connections here, whatever the limits say."""


@dataclass(frozen=True, slots=True)
class WebLimits:
    """Bounds, all in force at once. A client that reads nothing costs `chunk_octets` and the kernel's buffer."""

    connections: int = 1_200
    """At once, of every kind; in any case no more than `SHARE_OF_FILES`."""

    share_of_an_address: float = 0.875
    """Of the connections. A proxy brings everyone from one address; a client gone wild leaves room for others."""

    kept_for_requests: int = 32
    """So many of them, or half, are not for event streams, so that there is always room to ask for the health."""

    heard: int = 1_000
    """How many heard objects `/api/heard` can look back."""

    events: int = 2_000
    """How many events a stream that was cut off can look back."""

    memory_octets: int = 4_194_304
    """About how much the events and the heard objects may hold, each; beyond it the oldest go, however few."""

    chunk_octets: int = 65_536
    """How much goes to one event stream at a time; the next goes once the kernel has taken it."""

    kernel_octets: int = 65_536
    """The send buffer of each connection in the kernel, which may take twice as much for its own account of it."""

    form_octets: int = 4_096
    """The longest body of a request."""


@dataclass(frozen=True, slots=True)
class WebPace:
    """How long the web waits for what, in seconds."""

    idle: float = 60.0
    """For a request, on a connection where none is being answered."""

    answer: float = 60.0
    """For one answer other than an event stream to be read to its end."""

    heartbeat: float = 15.0
    """A stream that had nothing to say for so long says so: a comment, which keeps the way to the client open."""

    patience: float = 20.0
    """A stream whose client has not read one chunk in so long is ended."""

    retry: float = 10.0
    """How soon it tries again where it could not listen."""

    health: float = HEALTH_SECONDS
    """How often it is told the health: a page that misses two of them says that nobody answers."""


@dataclass(frozen=True, slots=True)
class WebOptions:
    """Where the web listens, and who may read it."""

    callsign: str
    """Of this post, for the head of the page."""

    host: str
    port: int
    """0: one that is free."""

    token: str | None = field(repr=False)
    """The secret that readers show. Without one everybody who can connect may read: those on this computer."""

    hosts: tuple[str, ...]
    """Names by which readers reach it, beside loopback's and the address it listens on: those of a proxy, say."""

    certificate: Path | None = None
    """For TLS: a file of PEM certificates, the gateway's own first. None: the web speaks plain HTTP."""

    key: Path | None = None
    """Its key, where that stands in a file of its own."""

    limits: WebLimits = WebLimits()
    pace: WebPace = WebPace()

    def context(self) -> ssl.SSLContext:
        """What TLS needs, read from the files. Raises `CertificateError`."""
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        if self.certificate is not None:
            take_certificate(context, self.certificate, self.key)
        return context
