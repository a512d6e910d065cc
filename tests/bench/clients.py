"""What 1,000 event streams and 50 text clients cost, some of whom never read, beside the same without any.

One process runs the web and the text port and gives them frames, as the gateway does; beside them, in the same event
loop, a bare echo server stands for everything else that the gateway has to do. A second process holds all the clients,
a third asks the echo server again and again. At last a frame with 1,000 streams is set beside one with a single one.
It takes two and a half minutes. Where the computer has other work,
`chrt -f 5` before the command keeps that out of the figures.
"""

import asyncio
import contextlib
import multiprocessing
import os
import re
import resource
import selectors
import socket
import statistics
import time
from collections.abc import Iterator
from dataclasses import dataclass
from multiprocessing.connection import Connection
from pathlib import Path
from typing import Any, cast

import structlog

from gateway.feed.health import Counts, Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.reader import ReportReader
from gateway.feed.stations import Stations
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.frames.heard import Run
from gateway.frames.network_line import network_line, route
from gateway.judge.conditions import Post
from gateway.judge.verdict import Decision, Judged, Verdict
from gateway.lines.server import LineServer
from gateway.running.what_if import WhatIf
from gateway.web.knowledge import Knowledge
from gateway.web.options import WebLimits
from gateway.web.server import WebServer
from gateway.web.sources import WebSources
from tests.answers import figure
from tests.bench.figures import Effort, Figure, ratio
from tests.bench.processes import pin
from tests.judge.listening import source_of
from tests.options import lines_options, web_options

POST = Post("QX1GAT-10", 58.6, -3.9167)
READER = ReportReader(POST)

SERVER_CORE, CLIENT_CORE = 1, 0
PROBE_PRIORITY = 9
"""Real-time, where it may be had: the clients share its core, and their turns must not count as the server's."""

PAUSE_SECONDS = 0.005
RECV_OCTETS = 262_144
TAIL_OCTETS = 2_000
DEAF_OCTETS = 32_768
SETTLE_SECONDS = 3.0
ECHO_SECONDS = 0.002
REQUEST = b"GET /events HTTP/1.1\r\nHost: localhost\r\n\r\n"
EVENT_NUMBER = re.compile(rb"\nid: [!-~]+-(\d+)\n")
HEARD_AT = re.compile(rb'"elapsed_ms":(\d+)')


@dataclass
class Load:
    """What is asked of the server."""

    streams: int
    lines: int
    deaf: int
    rate: int
    seconds: float


def open_many_files() -> None:
    """Each client is a descriptor."""
    _, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    resource.setrlimit(resource.RLIMIT_NOFILE, (hard, hard))


def resident_megabytes() -> float:
    """What this process holds."""
    return int(Path("/proc/self/statm").read_text("ascii").split()[1]) * resource.getpagesize() / 1e6


class Feeding:
    """Frames at a steady rate, as the service would offer them."""

    def __init__(self, run: Run, web: WebServer, lines: LineServer, stations: Stations) -> None:
        self.offered = 0
        self._run = run
        self._web = web
        self._lines = lines
        self._stations = stations
        self._read_report = READER
        self._verdict = Verdict(Decision.FORWARD, "receive-only@3fa9c1")
        self._route = route("QX1GAT-10")

    async def feed(self, rate: int, seconds: float) -> None:
        """So many frames a second."""
        loop = asyncio.get_running_loop()
        began = loop.time()
        given = 0
        while (passed := loop.time() - began) < seconds:
            while given < passed * rate:
                self._offer()
                given += 1
            await asyncio.sleep(PAUSE_SECONDS)

    def _offer(self) -> None:
        number = self.offered
        line = b"QA%03dX-%d>APRS,QD1AA*,WIDE2-1:!5836.%02dN/00355.%02dW>088/036under way, frame %07d"
        frame = tnc2.read(line % (number % 200, number % 15 + 1, number % 100, number // 100 % 100, number))
        assert isinstance(frame, Frame)
        judged = Judged(self._run.hear(self._run.now(), "vhf", 0, frame), self._verdict, frame, frame.information)
        payload = HeardPayload(judged, self._read_report, network_line(frame, self._route))
        self._stations.hear(payload)
        for sink in (self._web, self._lines):
            sink.offer([payload])
        for sink in (self._web, self._lines):
            sink.offer_forwarded([payload], self._run.now().time_ms)
        self.offered += 1


class Echo(asyncio.Protocol):
    """The bare echo."""

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """Someone asks."""
        self._transport = cast("asyncio.Transport", transport)

    def data_received(self, data: bytes) -> None:
        """The same again."""
        self._transport.write(data)


def server_process(pipe: Connection, load: Load) -> None:
    """The gateway's side."""

    async def serve() -> None:
        run = Run()
        stations = Stations()
        sources = WebSources(
            health=lambda: Health(run.identity, run.now().time_ms, [], Counts(0, 0, {})),
            stations=lambda: stations,
            policy=lambda: source_of(""),
            refused_policy=str,
            waits_for=list,
            past=Knowledge(None, READER, lambda: source_of("").compiled(POST)),
            alerts=list,
            what_if=WhatIf(None, POST, lambda: source_of("")),
        )
        limits = WebLimits(connections=load.streams + 100, share_of_an_address=1.0)
        web = WebServer(web_options(limits=limits), sources, run.now, run.identity)
        lines = LineServer(lines_options(clients=load.lines), lambda: run.now().time_ms)
        feeding = Feeding(run, web, lines, stations)
        echoing = await asyncio.get_running_loop().create_server(Echo, "127.0.0.1", 0)
        async with asyncio.TaskGroup() as tasks:
            running = [tasks.create_task(web.run()), tasks.create_task(lines.run())]
            while web.port is None or lines.port is None:  # noqa: ASYNC110 - only asked for here
                await asyncio.sleep(0.01)
            began_ms = time.monotonic() * 1000 - run.now().elapsed_ms
            pipe.send((web.port, lines.port, echoing.sockets[0].getsockname()[1], began_ms))
            while (seconds := await asyncio.to_thread(pipe.recv)) is not None:
                pipe.send(await measured(feeding, web, lines, load.rate, seconds))
            for task in running:
                task.cancel()
        echoing.close()

    pin(SERVER_CORE)
    open_many_files()
    structlog.configure(wrapper_class=structlog.make_filtering_bound_logger("error"))
    with contextlib.suppress(asyncio.CancelledError):
        asyncio.run(serve())


async def measured(feeding: Feeding, web: WebServer, lines: LineServer, rate: int, seconds: float) -> dict[str, Any]:
    """What the server says of one stretch of feeding."""
    held = [resident_megabytes()]
    busy = time.process_time()
    offered = feeding.offered

    async def watch() -> None:
        while True:
            held.append(resident_megabytes())
            await asyncio.sleep(0.25)

    watching = asyncio.create_task(watch())
    await feeding.feed(rate, seconds)
    busy = time.process_time() - busy
    await asyncio.sleep(SETTLE_SECONDS)
    watching.cancel()
    return {
        "offered": feeding.offered - offered,
        "core_pct": 100 * busy / seconds,
        "began_mb": held[0],
        "most_mb": max(held),
        "ended_mb": held[-1],
        "streams": figure(web, "event_streams"),
        "streams_dropped": figure(web, "event_streams_dropped"),
        "events_missed": figure(web, "shed"),
        "line_clients": figure(lines, "clients"),
        "line_clients_dropped": figure(lines, "clients_dropped"),
        "lines": figure(lines, "lines"),
    }


def client_process(pipe: Connection, ports: tuple[int, int], began_ms: float, load: Load) -> None:
    """All the clients: those that read read everything, and only look closely at the end.

    One of them looks at the first frame of all that it gets at a time, and how long ago that was heard: the run of
    the server began at `began_ms` of the system's monotonic clock.
    """
    pin(CLIENT_CORE)
    open_many_files()
    chosen = selectors.DefaultSelector()
    deaf_streams = load.deaf * 3 // 4
    deaf_lines = load.deaf - deaf_streams
    clients = connect(ports[0], load.streams, REQUEST, deaf_streams)
    clients += connect(ports[1], load.lines, b"", deaf_lines)
    deaf = {*clients[:deaf_streams], *clients[load.streams : load.streams + deaf_lines]}
    watched = clients[load.streams - 1]
    ages_ms = []
    tails = dict.fromkeys((client for client in clients if client not in deaf), b"")
    lines = dict.fromkeys(clients[load.streams :], 0)
    for client in tails:
        chosen.register(client, selectors.EVENT_READ)
    pipe.send(len(clients))
    space = bytearray(RECV_OCTETS)
    busy = time.process_time()
    while not pipe.poll():
        for key, _ in chosen.select(0.1):
            client = cast("socket.socket", key.fileobj)
            count = client.recv_into(space)
            if not count:
                chosen.unregister(client)
            tails[client] = tails[client][-TAIL_OCTETS:] + space[max(0, count - TAIL_OCTETS) : count]
            if client is watched and (found := HEARD_AT.search(space, 0, count)):
                ages_ms.append(time.monotonic() * 1000 - began_ms - int(found[1]))
            if client in lines:
                lines[client] += space.count(b"\n", 0, count)
    busy = time.process_time() - busy
    events = [last_event(tail) for client, tail in tails.items() if client not in lines]
    counted = [count for client, count in lines.items() if client not in deaf]
    pipe.send((ages_ms, (min(events), max(events)), (min(counted), max(counted)), busy))
    for client in clients:
        client.close()


def connect(port: int, count: int, request: bytes, deaf: int) -> list[socket.socket]:
    """So many connections. The kernel holds little for the first ones, who never read: it is not to read for them."""
    clients = []
    for number in range(count):
        client = socket.socket()
        if number < deaf:
            client.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, DEAF_OCTETS)
        client.connect(("127.0.0.1", port))
        client.sendall(request)
        client.setblocking(False)
        clients.append(client)
        time.sleep(0.0005)
    return clients


def last_event(tail: bytes) -> int:
    """The number of the last event in a piece of a stream."""
    numbers = EVENT_NUMBER.findall(tail)
    return int(numbers[-1]) if numbers else 0


def probe_process(pipe: Connection, port: int) -> None:
    """Asks the echo server again and again; tells all it measured whenever it is asked."""
    pin(CLIENT_CORE)
    with contextlib.suppress(AttributeError, OSError):
        os.sched_setscheduler(0, os.SCHED_FIFO, os.sched_param(PROBE_PRIORITY))
    measured: list[float] = []
    with socket.create_connection(("127.0.0.1", port)) as asking:
        asking.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        while True:
            if pipe.poll():
                if pipe.recv() is None:
                    return
                pipe.send(measured)
                measured = []
            began = time.perf_counter()
            asking.sendall(b"echo\n")
            asking.recv(64)
            measured.append((time.perf_counter() - began) * 1000)
            time.sleep(ECHO_SECONDS)


def of_hundred(measured: list[float], place: int) -> float:
    """So many of a hundred were no more than this."""
    return statistics.quantiles(measured, n=100)[place - 1]


def stretch(to_server: Connection, to_probe: Connection, seconds: float) -> tuple[list[float], dict[str, Any]]:
    """Feed for so long; how long each echo took, in milliseconds, and what the server says."""
    to_probe.send("what was before does not count")
    to_probe.recv()
    to_server.send(seconds)
    time.sleep(seconds)
    to_probe.send("now")
    echoes: list[float] = to_probe.recv()
    return echoes, to_server.recv()


Stretches = tuple[tuple[list[float], dict[str, Any]], tuple[list[float], dict[str, Any]], tuple[Any, ...]]
"""Without clients, with them, and what the clients say."""


def stretches(load: Load) -> Stretches:
    """Feed without clients and with them."""
    spawn = multiprocessing.get_context("spawn")
    to_server, server_end = spawn.Pipe()
    to_probe, probe_end = spawn.Pipe()
    to_clients, clients_end = spawn.Pipe()
    server = spawn.Process(target=server_process, args=(server_end, load))
    server.start()
    web_port, lines_port, echo_port, began_ms = to_server.recv()
    probe = spawn.Process(target=probe_process, args=(probe_end, echo_port))
    probe.start()
    clients = spawn.Process(target=client_process, args=(clients_end, (web_port, lines_port), began_ms, load))
    try:
        alone = stretch(to_server, to_probe, min(load.seconds, 15.0))
        clients.start()
        to_clients.recv()
        time.sleep(1)
        together = stretch(to_server, to_probe, load.seconds)
        to_clients.send(None)
        seen = to_clients.recv()
        to_probe.send(None)
        to_server.send(None)
        for process in (clients, probe, server):
            process.join(10)
    finally:
        for process in (clients, probe, server):
            if process.pid is not None:
                process.kill()
    return alone, together, seen


def measure(effort: Effort) -> Iterator[Figure]:
    """What clients cost the rest of the gateway and its computer, and what they get."""
    load = Load(streams=1000, lines=50, deaf=20, rate=200, seconds=effort.of(60))
    (quiet, alone), (echoes, server), (ages_ms, _, lines, _) = stretches(load)
    for place in (50, 99):
        ours, bare = of_hundred(echoes, place), of_hundred(quiet, place)
        yield Figure(
            f"echo beside them, {place} of 100", ours / bare, "x", f"{ours:.2f} ms", f"no clients {bare:.2f} ms"
        )
    core, bare = server["core_pct"], alone["core_pct"]
    yield Figure("part of a core", core - bare, "%", f"{core:.0f} %", f"no clients {bare:.0f} %")
    most, bare = server["most_mb"], alone["most_mb"]
    yield Figure("memory", most - bare, "MB", f"{most:.0f} MB", f"no clients {bare:.0f} MB")
    for place in (50, 99):
        yield Figure(f"age of a frame when a reader has it, {place} of 100", of_hundred(ages_ms, place), "ms")
    yield Figure("lines that a text client gets", 100 * lines[0] / server["offered"], "% at least")
    few, many = ([part_of_a_core(streams, effort.of(15))] for streams in (1, 1000))
    yield ratio("streams, 1 to 1,000", many, few, "{:.1f} % of a core".format, "one stream")


def part_of_a_core(streams: int, seconds: float) -> float:
    """What the server takes, in per cent, with so many streams that read."""
    _, (_, server), _ = stretches(Load(streams, lines=1, deaf=0, rate=200, seconds=seconds))
    core: float = server["core_pct"]
    return core
