"""Processor time of the gateway for each frame, with each sink and with all, over that of a bare relay.

A bare asyncio relay (`readuntil` and `write`), a program that does the least that any gateway does, and a gateway for
each other row run all at once. They get the same octets, one process after the other: bursts of 100 frames, ten a
second, with 1,500 headers and no information twice. Only their own time of the processor counts, threads included;
brokers and readers are other processes.
"""

import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path
from typing import Any

from tests.bench.ends import KISS_MARK, Ends, Readers, burst
from tests.bench.figures import Effort, Figure, microseconds, ratio
from tests.bench.processes import Measured, a_broker, gateway, least, relay
from tests.mosquitto_broker import free_port

BURST = 100
BURST_SECONDS = 0.1
ROUND_SECONDS, QUICK_ROUND_SECONDS = 5, 2
RELAY = "relay"
LEAST = "the least that any gateway does"

HOUSES: Mapping[str, frozenset[str]] = {
    "uplink alone": frozenset(),
    "+ text port": frozenset({"lines"}),
    "+ page": frozenset({"web"}),
    "+ journal": frozenset({"journal"}),
    "+ bus": frozenset({"bus"}),
    "everything": frozenset({"lines", "web", "journal", "bus", "captures"}),
}


class House:
    """One process under test and its ends."""

    def __init__(self, ends: Ends, measured: Measured) -> None:
        self.ends = ends
        self.measured = measured
        self._before = 0.0

    def lap(self) -> float:
        """Seconds of the processor since this was asked last."""
        now = self.measured.processor_seconds()
        since, self._before = now - self._before, now
        return since


def sections_of(parts: frozenset[str], broker: int, name: str) -> dict[str, Any]:
    """The sections of a station file with these parts."""
    sections: dict[str, Any] = {}
    if "lines" in parts:
        sections["lines"] = {"listen": f"127.0.0.1:{free_port()}"}
    if "web" in parts:
        sections["web"] = {"listen": f"127.0.0.1:{free_port()}"}
    if "journal" in parts:
        sections["journal"] = {"path": "stile.db", **({"captures": "captures"} if "captures" in parts else {})}
    if "bus" in parts:
        sections["bus"] = {"broker": f"mqtt://127.0.0.1:{broker}", "base": name}
    return sections


def visit(readers: Readers, sections: Mapping[str, Any]) -> None:
    """One reads the text port, and one has the page open."""
    for part, request in (("lines", b""), ("web", b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n")):
        if part in sections:
            readers.visit(int(sections[part]["listen"].rpartition(":")[2]), request)


def open_house(stack: ExitStack, readers: Readers, broker: int, name: str) -> House:
    """Start what a row is about."""
    if name == RELAY:
        ends = Ends(readers, KISS_MARK)
        return House(ends, stack.enter_context(relay(ends)))
    ends = Ends(readers)
    if name == LEAST:
        return House(ends, stack.enter_context(least(ends)))
    folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
    sections = sections_of(HOUSES[name], broker, f"bench-{folder.name}")
    house = House(ends, stack.enter_context(gateway(ends, folder, sections)))
    visit(readers, sections)
    return house


def feed(houses: list[House], first: int, bursts: int) -> None:
    """Give every house the same bursts at their pace, in turn; who is first changes each time."""
    octets = [burst(first + number * BURST, BURST) for number in range(bursts)]
    began = time.monotonic()
    for number, one in enumerate(octets):
        place = number % len(houses)
        for step, house in enumerate(houses[place:] + houses[:place]):
            due = began + (number + step / len(houses)) * BURST_SECONDS
            time.sleep(max(0.0, due - time.monotonic()))
            house.ends.send(one)


def measure(effort: Effort) -> Iterator[Figure]:
    """A figure for each row."""
    with ExitStack() as stack:
        broker = stack.enter_context(a_broker())
        readers = stack.enter_context(Readers())
        names = [RELAY, LEAST, *HOUSES]
        houses = {name: open_house(stack, readers, broker.port, name) for name in names}
        bursts = round((QUICK_ROUND_SECONDS if effort.quick else ROUND_SECONDS) / BURST_SECONDS)
        laps: dict[str, list[float]] = {name: [] for name in names}
        for turn in range(effort.turns + 1):
            feed(list(houses.values()), turn * bursts * BURST, bursts)
            for name, house in houses.items():
                if not house.ends.wait_for((turn + 1) * bursts * BURST):
                    raise AssertionError(f"{name}: after {turn + 1} rounds no more than {house.ends.received} came out")
            for name, house in houses.items():
                seconds = house.lap() / (bursts * BURST)
                if turn:  # the first warms up
                    laps[name].append(seconds)
    for name in names[1:]:
        yield ratio(name, laps[name], laps[RELAY], microseconds, RELAY)
