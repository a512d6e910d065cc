"""Following a gateway: what was heard before it, and one that stands still while its event stream is open."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import dataclass, field

import pytest
from aiohttp import web

from gateway.alerts.alert import AlertKind, alert_object, emergency_alert
from gateway.commands.watching import client
from gateway.commands.watching.client import Gateway
from gateway.commands.watching.following import following
from gateway.commands.watching.watched import Watched
from gateway.feed.heard_object import heard_object
from gateway.frames.plain import PlainObject
from tests.glance.scenarios import CALLSIGN, EMERGENCY, READER, SAILING, WELL, health, heard
from tests.judged_frames import NOON_MS, Post
from tests.waiting import until


def silence(name: str) -> PlainObject:
    return alert_object(AlertKind.SILENT, name, Post().now(), "it is silent", since_ms=NOON_MS, source="QA1BUOY")


@dataclass
class PlainGateway:
    """Answers as a gateway does, for as long as it does not stand still."""

    port: int = 0
    goes_on: asyncio.Event = field(default_factory=asyncio.Event)

    async def health(self, _: web.Request) -> web.Response:
        await self.goes_on.wait()
        return web.Response(text=health(*WELL).model_dump_json(), content_type="application/json")

    async def stations(self, _: web.Request) -> web.Response:
        features = [{"properties": heard(SAILING).model_dump(mode="json") | {"memory": {}}}]
        return web.json_response({"features": features}, content_type="application/geo+json")

    async def alerts(self, _: web.Request) -> web.Response:
        judged = Post().hear(EMERGENCY)
        raised = [
            {"alert": emergency_alert(judged, heard_object(judged, READER(judged))), "holds": True},
            {"alert": silence("buoy"), "holds": True},
            {"alert": silence("old"), "holds": False},
        ]
        return web.json_response({"alerts": raised})

    async def events(self, request: web.Request) -> web.StreamResponse:
        response = web.StreamResponse(headers={"Content-Type": "text/event-stream"})
        await response.prepare(request)
        await asyncio.Event().wait()
        return response


@asynccontextmanager
async def plain_gateway() -> AsyncIterator[PlainGateway]:
    gateway = PlainGateway()
    gateway.goes_on.set()
    application = web.Application()
    application.router.add_get("/api/health", gateway.health)
    application.router.add_get("/api/stations", gateway.stations)
    application.router.add_get("/api/alerts", gateway.alerts)
    application.router.add_get("/events", gateway.events)
    runner = web.AppRunner(application, handler_cancellation=True, shutdown_timeout=0.1)
    await runner.setup()
    try:
        await web.TCPSite(runner, "127.0.0.1", 0).start()
        gateway.port = runner.addresses[0][1]
        yield gateway
    finally:
        await runner.cleanup()


async def test_stations_and_alerts_from_before_the_watch_began_are_known() -> None:
    watched = Watched(CALLSIGN, "")
    async with plain_gateway() as gateway, following(Gateway(CALLSIGN, "127.0.0.1", gateway.port), watched, 0.05):
        await until(lambda: bool(watched.alerts))
    (station,) = [station for station in watched.stations if station.last.source != "QA1BCD-9"]
    assert (station.last.source, station.placed) == ("QA1FGH-8", station.last)
    assert list(watched.emergencies) == ["QA1BCD-9"]
    assert [alert.name for alert in watched.alerts] == ["buoy"]


async def test_a_gateway_that_stands_still_is_noticed_though_its_stream_is_open_and_forgiven_when_it_goes_on(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(client, "ANSWER_SECONDS", 0.2)
    watched = Watched(CALLSIGN, "")
    async with plain_gateway() as gateway, following(Gateway(CALLSIGN, "127.0.0.1", gateway.port), watched, 0.05):
        await until(lambda: watched.health is not None and watched.answers)
        gateway.goes_on.clear()
        await until(lambda: watched.silence is not None)
        assert watched.silence is not None
        assert watched.silence.trouble.why == "it says nothing"
        gateway.goes_on.set()
        await until(lambda: watched.silence is None and watched.answers)
