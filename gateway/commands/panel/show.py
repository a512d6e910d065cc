"""`stile panel`: follows a gateway, and shows what is to be seen when that has changed."""

import asyncio
import contextlib
import threading
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from gateway.commands.panel.screen import Screen, ScreenError
from gateway.commands.watching.client import Client, Gateway, UnansweredError, gateway_of
from gateway.commands.watching.following import following
from gateway.commands.watching.signals import until_a_signal
from gateway.commands.watching.watched import FRAMES, Watched
from gateway.glance.layout import scene
from gateway.glance.scene import Canvas, Scene
from gateway.glance.view import Known, View, view
from gateway.groundwork.own_thread import in_own_thread

REDRAW_SECONDS = 0.5

STILL_SECONDS = 5.0
"""So often it is looked at whether time alone has changed something, which is told to the minute."""

HEALTH_SECONDS = 5.0


def once(station: Path, screen: Screen) -> bool:
    """Show the picture of now; whether the gateway answered. Raises `DocumentError` and `ScreenError`."""
    gateway = gateway_of(station)
    watched = Watched(gateway.callsign, gateway.address)
    answers = asyncio.run(_ask(gateway, watched))
    screen.show(scene(view(known_of(watched), _now()), screen.canvas))
    return answers


def follow(station: Path, screen: Screen) -> None:
    """Show the picture until a signal ends it; then it says since when. Raises as `once` does."""
    gateway = gateway_of(station)
    one_at_a_time = threading.Lock()  # a picture that is being drawn when a signal comes is finished before the last

    def show(made: Scene) -> None:
        with one_at_a_time:
            screen.show(made)

    trouble = until_a_signal(_follow(gateway, screen.canvas, show))
    if trouble is not None:
        raise trouble
    show(scene(_unwatched(view(Known(gateway.callsign, None), _now())), screen.canvas))


async def _ask(gateway: Gateway, watched: Watched) -> bool:
    """Take in how the gateway is now, and what it heard last; whether it answers."""
    try:
        async with Client(gateway, catch_up=False) as client:
            for event in await client.state(FRAMES):
                watched.take(event, _now())
    except UnansweredError as error:
        watched.take(error.trouble, _now())
        return False
    return True


async def _follow(gateway: Gateway, canvas: Canvas, show: Callable[[Scene], None]) -> ScreenError:
    """Goes on until it is cancelled, or cannot show anything any longer: then it comes back with why."""
    watched = Watched(gateway.callsign, gateway.address)
    await _ask(gateway, watched)  # what was heard before it was started last is in no event
    last_picture: Scene | None = None
    async with following(gateway, watched, HEALTH_SECONDS) as changed:
        while True:
            changed.clear()
            picture = scene(view(known_of(watched), _now()), canvas)
            if picture != last_picture:
                try:
                    await in_own_thread(show, picture)
                except ScreenError as error:
                    return error
                last_picture = picture
            await asyncio.sleep(REDRAW_SECONDS)
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(changed.wait(), STILL_SECONDS - REDRAW_SECONDS)


def known_of(watched: Watched) -> Known:
    """What a small screen makes of a gateway that is watched."""
    return Known(
        watched.callsign,
        watched.health,
        next((frame.heard for frame in watched.frames if frame.heard.is_news), None),
        next(reversed(watched.emergencies.values()), None),
        None if watched.silence is None else watched.silence.since,
    )


def _unwatched(last_view: View) -> View:
    """A picture that goes on being seen when nobody draws it any longer, and says so."""
    clock = last_view.clock[-1]
    return replace(last_view, silent=(f"this screen is not kept up since {clock}", f"stopped at {clock}", "stopped"))


def _now() -> datetime:
    return datetime.now().astimezone()
