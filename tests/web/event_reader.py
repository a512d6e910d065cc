"""Reads server-sent events with a general library for them, which shares no code with ours."""

import asyncio
import json
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import httpx
from httpx_sse import EventSource, ServerSentEvent, aconnect_sse

from tests.answers import figure
from tests.web.opened import OpenWeb


class EventReader:
    """One open stream."""

    def __init__(self, source: EventSource) -> None:
        self.response = source.response
        self._events = source.aiter_sse()

    async def next(self) -> ServerSentEvent:
        """The next event that carries something. Raises `StopAsyncIteration` where the stream has ended."""
        event = await anext(self._events)
        while not event.data:
            event = await anext(self._events)
        return event

    async def take(self, count: int) -> list[ServerSentEvent]:
        """The next so many events."""
        return [await self.next() for _ in range(count)]


def data_of(event: ServerSentEvent) -> dict[str, Any]:
    """The object that an event carries."""
    plain = json.loads(event.data)
    assert isinstance(plain, dict)
    return plain


def events_in(octets: bytes) -> list[ServerSentEvent]:
    """All events in a piece of a stream."""
    response = httpx.Response(200, headers={"Content-Type": "text/event-stream"}, content=octets)
    return [event for event in EventSource(response).iter_sse() if event.data]


@asynccontextmanager
async def stream_of(web: OpenWeb, **headers: str) -> AsyncIterator[EventReader]:
    """A stream that the server knows of; headers are written with underscores for their hyphens."""
    opened = figure(web.server, "event_streams")
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    async with aconnect_sse(web.client, "GET", "/events", headers=named) as source:
        source.response.raise_for_status()
        while figure(web.server, "event_streams") <= opened:  # noqa: ASYNC110 - the other end of a socket knows it
            await asyncio.sleep(0)
        yield EventReader(source)
