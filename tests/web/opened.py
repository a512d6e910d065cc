"""A web server for tests, on a free port of loopback, with a post behind it that hears what the test says."""

import asyncio
from collections.abc import AsyncIterator, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

import httpx

from gateway.alerts.raised import RaisedAlerts
from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import tnc2
from gateway.groundwork.part import Figure, Part, PartKind, State, shed
from gateway.judge import conditions
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Judged, Reason
from gateway.running.what_if import WhatIf
from gateway.watches.activity import Activity
from gateway.web.knowledge import Knowledge
from gateway.web.options import WebLimits, WebPace
from gateway.web.server import WebServer
from gateway.web.sources import WebSources
from tests.judge.listening import source_of
from tests.judged_frames import NOON_MS, Post
from tests.options import web_options
from tests.waiting import until

FAIL_SAFE_SECONDS = 20.0
"""How long anything may take before a test gives up. Nothing waits for this long when all is well."""

SECONDS_OF_A_CHILD = 55.0
"""For a process that begins, on a computer that has much else to do."""

TOKEN = "an-invented-token-for-tests"
LINE = b"QA1BCD-9>APRS,QD1AA*,WIDE2-1:!5836.00N/00355.00W>under way"

POST = conditions.Post("QX1GAT-10", 58.6, -3.9167)
READER = ReportReader(POST)


@dataclass
class Gateway:
    """What stands behind the web in a test: a post, its stations, and what the service would tell of itself."""

    post: Post = field(default_factory=Post)
    stations: Stations = field(default_factory=Stations)
    waits_for: Sequence[str] = ()
    emergencies: int = 0
    heard: list[HeardPayload] = field(default_factory=list)
    journal: Path | None = None
    alerts: RaisedAlerts = field(default_factory=RaisedAlerts)
    policy: PolicySource = field(default_factory=lambda: source_of(""))

    def health(self) -> Health:
        """The health of a post that has heard five frames."""
        counts = Counts(
            heard=5,
            forward=3,
            keep_by_reason={Reason.DUPLICATE: 2},
            outcomes={"sent": 2, "late": 0, "dropped": 0, "stopped": 0, "refused": 0},
            waiting=1,
            emergencies=self.emergencies,
        )
        parts = [
            Part(PartKind.RECEIVER, "vhf", State.OK, NOON_MS),
            Part(PartKind.UPLINK, "uplink", State.DEGRADED, NOON_MS, "the login is not verified", "check the passcode"),
        ]
        figures: dict[Part, Sequence[Figure]] = {parts[1]: shed({"lines": 7})}
        busy = {"activity": Activity(frames_per_minute=5, stations_last_hour=1, last_heard_ms=NOON_MS).to_object()}
        return Health(self.post.run, NOON_MS, parts, counts, figures, busy)

    def sources(self) -> WebSources:
        """As the service would give them in."""
        return WebSources(
            health=self.health,
            stations=lambda: self.stations,
            policy=lambda: self.policy,
            refused_policy=str,
            waits_for=lambda: self.waits_for,
            past=Knowledge(self.journal, READER, lambda: self.policy.compiled(POST)),
            alerts=lambda: self.alerts.to_objects(self.post.now()),
            what_if=WhatIf(self.journal, POST, lambda: self.policy, seconds=SECONDS_OF_A_CHILD),
        )

    def hear(self, line: bytes = LINE, reason: Reason | None = None) -> HeardPayload:
        """A frame, as every sink is offered it."""
        return self.payload(self.post.hear(line, reason=reason))

    def payload(self, judged: Judged) -> HeardPayload:
        """What every sink is offered for a judged frame."""
        line = tnc2.write(judged.innermost) + b"\r\n" if judged.forward and judged.innermost else b""
        payload = HeardPayload(judged, READER, line)
        self.stations.hear(payload)
        self.heard.append(payload)
        return payload


class OpenWeb:
    """A web server that listens, and a client of another library."""

    def __init__(self, server: WebServer, gateway: Gateway, client: httpx.AsyncClient) -> None:
        self.server = server
        self.gateway = gateway
        self.client = client

    @property
    def port(self) -> int:
        """Where it listens."""
        port = self.server.port
        assert port is not None
        return port

    @property
    def address(self) -> str:
        """Its root."""
        return f"http://127.0.0.1:{self.port}"

    def hear(self, line: bytes = LINE, reason: Reason | None = None) -> HeardPayload:
        """Hear a frame, and offer it to the web."""
        payload = self.gateway.hear(line, reason)
        self.server.offer([payload])
        return payload

    async def get(self, path: str, **headers: str) -> httpx.Response:
        """Ask for a path; headers are written with underscores for their hyphens."""
        return await self.client.get(path, headers={name.replace("_", "-"): value for name, value in headers.items()})


@asynccontextmanager
async def open_web(  # noqa: PLR0913 - what a web is made from
    gateway: Gateway | None = None,
    *,
    token: str | None = None,
    hosts: tuple[str, ...] = (),
    pace: WebPace | None = None,
    port: int = 0,
    certificate: Path | None = None,
    seconds: float = FAIL_SAFE_SECONDS,
    **limits: int,
) -> AsyncIterator[OpenWeb]:
    """Runs a web server for a block; at its end it is cut off, where it was not drained.

    `certificate`: of its TLS, with the key beside it.
    """
    gateway = gateway or Gateway()
    options = web_options(
        port,
        token=token,
        hosts=hosts,
        limits=replace(WebLimits(), **limits),
        pace=pace or WebPace(),
        certificate=certificate,
        key=None if certificate is None else certificate.with_suffix(".key"),
    )
    server = WebServer(options, gateway.sources(), gateway.post.now, gateway.post.run)
    running = asyncio.create_task(server.run())
    try:
        await until(lambda: server.port is not None)
        base = f"http://127.0.0.1:{server.port}"
        async with (
            asyncio.timeout(seconds),
            httpx.AsyncClient(base_url=base, timeout=FAIL_SAFE_SECONDS, trust_env=False) as client,
        ):
            yield OpenWeb(server, gateway, client)
    finally:
        running.cancel()
        with suppress(asyncio.CancelledError):
            await running
