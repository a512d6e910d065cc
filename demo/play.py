"""Plays the Wrackholm Bay Regatta through a real gateway, shows what becomes of every frame, and adds it all up.

Everything is real but the air and the network: a simulated decoder on a KISS socket, the gateway as `stile run` makes
it, a stand-in network server that logs it in and checks each line, an MQTT broker in the process, and a subscriber of
the demo's own that counts what the house gets.
"""

import argparse
import asyncio
import contextlib
import re
import signal
import socket
import sys
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Self

import structlog
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from demo.decoder import SimulatedDecoder
from demo.network_server import NetworkServer
from gateway import settings
from gateway.bus.embedded import EmbeddedBroker
from gateway.feed.health import Counts
from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import Sink
from gateway.frames.plain import rfc3339
from gateway.running.service import Service
from gateway.settings import policy_files

STATION_FILE = Path(__file__).parent / "station.yaml"
PASSCODE = "21161"
"""Of the demo's callsign, which is allotted to nobody: it opens the stand-in server and no other."""

SETTLE_SECONDS = 5.0
"""For the last messages to reach the subscriber."""

CAUTION = "Not a distress watch: emergencies are shown first and held back by no rate, and that promises nothing."


class Show(Sink):
    """A sink of the gateway that prints a line for every frame."""

    def __init__(self, *, colours: bool) -> None:
        self._colours = colours

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Print the frames."""
        for payload in frames:
            self._print(payload)

    def _print(self, payload: HeardPayload) -> None:
        """One line: when, where, what became of it, from whom, what it says."""
        judged, heard = payload.judged, payload.judged.heard
        clock = rfc3339(heard.moment.time_ms)[11:19]
        verdict = judged.verdict
        if judged.counts_as_emergency:
            mark, colour = "EMERGENCY", "1;31"
        elif judged.forward:
            mark, colour = "forward", "32"
        else:
            mark, colour = f"keep: {verdict.reason}", "33"
        print(f"{clock} {heard.receiver:5} {self._painted(f'{mark:27}', colour)} {_what(payload)}", flush=True)

    def _painted(self, text: str, colour: str) -> str:
        return f"\x1b[{colour}m{text}\x1b[0m" if self._colours else text


class Subscriber:
    """The house: subscribes to everything and counts it by topic, while its context lasts."""

    def __init__(self, port: int) -> None:
        self.counts: Counter[str] = Counter()
        self._port = port
        self._loop = asyncio.get_running_loop()
        self._more = asyncio.Event()
        self._client = Client(CallbackAPIVersion.VERSION2)
        self._client.on_connect = lambda client, *_: client.subscribe("stile/+/#")
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = self._on_message

    async def __aenter__(self) -> Self:
        self._client.connect("127.0.0.1", self._port)  # on loopback, and at once
        self._client.loop_start()
        await self._more.wait()
        return self

    async def __aexit__(self, *_: object) -> None:
        self._client.disconnect()
        await asyncio.to_thread(self._client.loop_stop)

    async def until_it_has(self, counted: Callable[[], Counts]) -> None:
        """Wait for the last of the messages about all frames so far."""
        while self._lacks(counted()):
            self._more.clear()
            await self._more.wait()

    def _lacks(self, counts: Counts) -> bool:
        sent = (counts.outcomes or {})["sent"]
        return self.counts["heard"] < counts.heard or self.counts["forwarded"] < sent

    def _on_subscribe(self, *_: object) -> None:
        self._loop.call_soon_threadsafe(self._more.set)

    def _on_message(self, _client: Client, _data: object, message: MQTTMessage) -> None:
        self._loop.call_soon_threadsafe(self._count, message.topic)

    def _count(self, topic: str) -> None:
        self.counts[topic.split("/")[2]] += 1
        self._more.set()


def _what(payload: HeardPayload) -> str:
    frame, report = payload.judged.innermost, payload.report()
    if frame is None or report is None:
        return "damaged"
    kind, text = report["kind"], payload.judged.information.decode("utf-8", "replace")
    printable = "".join(character if character.isprintable() else "·" for character in text)
    return f"{frame.source:9} {kind:12} {printable[:60]}"


def free_port(wanted: int) -> int:
    """`wanted` where it is free, any other otherwise; a port that was taken is reported."""
    for port in (wanted, 0):
        with contextlib.suppress(OSError), socket.create_server(("127.0.0.1", port)) as server:
            chosen: int = server.getsockname()[1]
            if chosen != wanted:
                print(f"Port {wanted} is taken; {chosen} is used in its place.")
            return chosen
    raise SystemExit("No port is free on 127.0.0.1.")


def station_file(ports: dict[int, int]) -> settings.StationFile:
    """The demo's station file with the ports that are used in place of those that it names."""
    text = STATION_FILE.read_text("utf-8")
    filled_in = re.sub(r"(?<=:)\d+\b", lambda port: str(ports.get(int(port[0]), port[0])), text)
    return settings.read(filled_in, STATION_FILE, {settings.PASSCODE_VARIABLE: PASSCODE})


async def play(seconds: float | None) -> bool:
    """Play for so long, or until interrupted; the value says whether everything adds up."""
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        loop.add_signal_handler(number, stop.set)
    async with (
        EmbeddedBroker(free_port(1883)) as broker,
        NetworkServer(port=free_port(14580)) as network,
        SimulatedDecoder(port=free_port(7581)) as decoder,
        Subscriber(broker.port) as house,
    ):
        ports = {
            7581: decoder.port,
            7582: free_port(7582),
            7583: free_port(7583),
            14580: network.port,
            1883: broker.port,
        }
        station = station_file(ports)
        source = policy_files.load(station.settings.policy, station.settings.post, beside=STATION_FILE.parent)
        service = Service(station, source, sinks=[Show(colours=sys.stdout.isatty())])
        print(f"decoder  KISS on 127.0.0.1:{decoder.port}")
        print(f"network  stand-in server on 127.0.0.1:{network.port}")
        print(f"house    mqtt://127.0.0.1:{broker.port}, topics stile/{station.settings.station.callsign}/#")
        print(f"         http://127.0.0.1:{ports[7583]}/ is the page, 127.0.0.1:{ports[7582]} the monitor text")
        print(f"{CAUTION}\n")
        async with asyncio.TaskGroup() as tasks:
            stopped = asyncio.Event()
            gateway = tasks.create_task(service.run(stopped))
            await _wait_for_an_end(tasks, stop, gateway, seconds)
            # A broker forgets what it has not passed on of a client that leaves: let the house have it first.
            decoder.fall_silent()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(house.until_it_has(lambda: service.health().counts), SETTLE_SECONDS)
            stopped.set()
        return summary(service.health().counts, network, house)


async def _wait_for_an_end(
    tasks: asyncio.TaskGroup, stop: asyncio.Event, gateway: asyncio.Task[None], seconds: float | None
) -> None:
    """Wait until it is to stop, the gateway has ended, or so long."""
    told = tasks.create_task(stop.wait())
    await asyncio.wait([gateway, told], timeout=seconds, return_when=asyncio.FIRST_COMPLETED)
    told.cancel()


def summary(counts: Counts, network: NetworkServer, house: Subscriber) -> bool:
    """Print what became of everything; whether it all adds up."""
    kept = ", ".join(f"{reason} {count}" for reason, count in counts.keep_by_reason.items())
    outcomes = counts.outcomes or {}
    ends = " + ".join(f"{outcome} {count}" for outcome, count in outcomes.items())
    seen = network.counts
    print()
    print(f"heard {counts.heard} = keep {counts.keep} + forward {counts.forward}   (emergencies: {counts.emergencies})")
    print(f"  keep {counts.keep}: {kept or 'nothing'}")
    print(f"  forward {counts.forward} = {ends}")
    print(f"the network server counted: {seen}")
    print(f"the house got: heard {house.counts['heard']}, forwarded {house.counts['forwarded']}")
    checks = {
        "heard = keep + forward, forward = the outcomes": counts.adds_up and not counts.waiting,
        "the network server took every line that was sent, and no other": seen.accepted == outcomes["sent"]
        and seen.lines == seen.accepted,
        "the house got everything that was heard": house.counts["heard"] == counts.heard,
        "the house got everything that was sent": house.counts["forwarded"] == outcomes["sent"],
    }
    for what, holds in checks.items():
        print(f"  {'yes' if holds else 'NO '}  {what}")
    return all(checks.values())


def _seconds(text: str) -> float:
    match = re.fullmatch(r"(\d+(?:\.\d+)?)(s|m)?", text)
    if match is None:
        raise argparse.ArgumentTypeError(f"{text!r} is no length of time; write 20s or 5m")
    return float(match[1]) * (60 if match[2] == "m" else 1)


def main() -> int:
    """Read the arguments and play."""
    parser = argparse.ArgumentParser(prog="demo/run", description=__doc__)
    parser.add_argument("--for", dest="seconds", type=_seconds, metavar="20s", help="end by itself after so long")
    parser.add_argument("--club", action="store_true", help="three posts, three servers of an engine, two hubs")
    options = parser.parse_args()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("warning"))
    if options.club:
        from demo import club  # noqa: PLC0415 - it needs more than the demo of one post

        return 0 if asyncio.run(club.play(options.seconds)) else 1
    return 0 if asyncio.run(play(options.seconds)) else 1


if __name__ == "__main__":
    sys.exit(main())
