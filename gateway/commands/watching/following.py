"""Follows a gateway for as long as a block lasts: what it tells goes into a `Watched`, and so does its silence."""

import asyncio
from collections.abc import AsyncIterator
from contextlib import aclosing, asynccontextmanager
from datetime import UTC, datetime

from gateway.commands.watching.client import Client, Gateway, UnansweredError
from gateway.commands.watching.published import Answering
from gateway.commands.watching.watched import Watched
from gateway.groundwork.kept_tasks import kept_tasks


@asynccontextmanager
async def following(gateway: Gateway, watched: Watched, health_seconds: float) -> AsyncIterator[asyncio.Event]:
    """The event is set when there is something new.

    The health is asked for every so many seconds: by itself the gateway tells it less often than frames, and one that
    stands still keeps its event stream open and says nothing.
    """
    changed = asyncio.Event()

    async def take_all(client: Client) -> None:
        async with aclosing(client.follow()) as all_told:
            async for event in all_told:
                watched.take(event, _now())
                changed.set()

    async def ask_health(client: Client) -> None:
        knows_what_was = False
        while True:
            try:
                health = await client.health()
                if not knows_what_was:  # what it heard and told before its events begin
                    watched.remember_all(await client.stations(), await client.alerts())
                    knows_what_was = True
            except UnansweredError as error:
                watched.take(error.trouble, _now())
            else:
                watched.take(Answering(), _now())
                watched.take(health, _now())
            changed.set()
            await asyncio.sleep(health_seconds)

    async with Client(gateway, catch_up=True) as client, kept_tasks() as tasks:
        tasks.keep(take_all(client), "events")
        tasks.keep(ask_health(client), "health")
        yield changed


def _now() -> datetime:
    return datetime.now(UTC)
