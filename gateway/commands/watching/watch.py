"""`stile watch`: joins the client to what is printed or drawn, in one of its ways."""

import asyncio
import contextlib
import json
import os
import signal
import sys
from contextlib import aclosing
from datetime import UTC, datetime
from pathlib import Path
from typing import TextIO

from gateway.commands.watching import words
from gateway.commands.watching.client import Client, Gateway, UnansweredError, gateway_of
from gateway.commands.watching.following import following
from gateway.commands.watching.keyboard import Keyboard
from gateway.commands.watching.listing import Listing
from gateway.commands.watching.published import Event, NoAnswer
from gateway.commands.watching.screen import screen, whole
from gateway.commands.watching.signals import until_a_signal
from gateway.commands.watching.terminal import USUAL_SIZE, Terminal, can_draw
from gateway.commands.watching.watched import Watched
from gateway.glance.shown import AlertShown, HeardShown
from gateway.groundwork.part import State

REDRAW_SECONDS = 0.25

STILL_SECONDS = 1.0
"""So often the screen is drawn where nothing comes: the clock goes on."""

HEALTH_SECONDS = 2.0
"""While something is drawn the health is asked for so often: by itself the gateway tells it less often than frames."""


def once(station: Path, out: TextIO, *, as_json: bool) -> bool:
    """Print how the gateway is now; whether it answers and every part is ok. Raises `DocumentError`."""
    gateway = gateway_of(station)
    try:
        events, stations, alerts = asyncio.run(_state(gateway))
    except UnansweredError as error:
        _say_trouble(error.trouble)
        return False
    watched = Watched(gateway.callsign, gateway.address)
    watched.answers = True
    watched.remember_all(stations, alerts)
    for event in events:
        watched.take(event, _now())
    if as_json:
        print(one_line(events[-1]), file=out)
    else:
        columns = Terminal(out).size.columns if out.isatty() else USUAL_SIZE.columns
        for line in whole(watched, _now(), columns):
            print(line.text, file=out)
    return watched.health is not None and watched.health.state is State.OK


def follow(station: Path, out: TextIO, *, as_json: bool) -> None:
    """Print or draw what the gateway tells, until a signal ends it. Raises `DocumentError`."""
    gateway = gateway_of(station)
    if as_json:
        work = _print_objects(gateway, out)
    elif can_draw(out, os.environ.get("TERM", "")):
        work = _draw(gateway, out)
    else:
        work = _print_lines(gateway, out)
    until_a_signal(work)  # then the terminal is as it was


def one_line(event: Event) -> str:
    """An event as one line of JSON whose only key is its kind: all in ASCII, and no control among it."""
    return json.dumps({event.kind: event.plain}).replace("\x7f", "\\u007f")


async def _state(gateway: Gateway) -> tuple[list[Event], list[HeardShown], list[AlertShown]]:
    async with Client(gateway, catch_up=False) as client:
        return await client.state(), await client.stations(), await client.alerts()


async def _print_objects(gateway: Gateway, out: TextIO) -> None:
    trouble = None
    async with Client(gateway, catch_up=False) as client, aclosing(client.follow()) as all_told:
        async for event in all_told:
            if isinstance(event, Event):
                print(one_line(event), file=out, flush=True)
            elif isinstance(event, NoAnswer) and event != trouble:
                _say_trouble(event)
            trouble = event if isinstance(event, NoAnswer) else None


async def _print_lines(gateway: Gateway, out: TextIO) -> None:
    listing = Listing()
    print(f"Stile {gateway.callsign}, {gateway.address}, times in UTC. {words.CAUTION}", file=out, flush=True)
    async with Client(gateway, catch_up=False) as client, aclosing(client.follow()) as all_told:
        async for event in all_told:
            for line in listing.take(event, _now()):
                print(line, file=out, flush=True)


async def _draw(gateway: Gateway, out: TextIO) -> None:
    watched = Watched(gateway.callsign, gateway.address)
    with Terminal(out) as terminal:
        _let_go_while_stopped(terminal)
        async with following(gateway, watched, HEALTH_SECONDS) as changed:
            keyboard = Keyboard(changed)
            if terminal.has_keys:
                keyboard.listen()
            while True:
                size = terminal.size
                try:
                    terminal.draw(screen(watched, _now(), size.columns, size.lines, keyboard.face))
                except OSError:  # the terminal is gone: there is nobody to show anything to
                    return
                changed.clear()
                await asyncio.sleep(REDRAW_SECONDS)
                with contextlib.suppress(TimeoutError):
                    await asyncio.wait_for(changed.wait(), STILL_SECONDS - REDRAW_SECONDS)


def _let_go_while_stopped(terminal: Terminal) -> None:
    """Ctrl-Z leaves the terminal as it was, and coming back draws it anew."""

    def stop() -> None:
        terminal.leave()
        os.kill(os.getpid(), signal.SIGSTOP)
        terminal.enter()

    asyncio.get_running_loop().add_signal_handler(signal.SIGTSTP, stop)


def _say_trouble(trouble: NoAnswer) -> None:
    sys.stderr.write(f"The gateway does not answer: {trouble}\n")
    sys.stderr.flush()


def _now() -> datetime:
    return datetime.now(UTC)
