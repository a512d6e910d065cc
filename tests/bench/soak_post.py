"""The post of a soak: a gateway in a process of its own, between a decoder, two servers, a broker and clients."""

import asyncio
import json
import os
import re
import signal
import sqlite3
import sys
import time
from collections import deque
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, closing, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx

from tests.bench.soak_books import FRESHNESS_SECONDS, Books, Witness, frame, kept_frame
from tests.mosquitto_broker import MosquittoBroker, free_port
from tests.whole_gateway import PASSCODE, kiss_of

STATIONS = 150
WELL_SECONDS = 150.0
"""How long after the last fault it may take until all is well: two servers, pauses of up to a minute."""

FAKETIME = Path("/usr/lib/x86_64-linux-gnu/faketime/libfaketimeMT.so.1")
"""With it the gateway's wall clock can be set (Debian package libfaketime); without, those faults are left out."""

HAS_FAKETIME = FAKETIME.exists()

ENDED = re.compile(r"Traceback|Task exception was never retrieved|was never awaited")


class Decoder:
    """Says frames to whoever is connected, and never waits for them."""

    def __init__(self) -> None:
        self.port = 0
        self.writers: set[asyncio.StreamWriter] = set()
        self._server: asyncio.Server | None = None

    async def listen(self) -> None:
        """Let gateways in, at the same port again."""
        self._server = await asyncio.start_server(self._take, "127.0.0.1", self.port)
        self.port = self._server.sockets[0].getsockname()[1]

    def leave(self) -> None:
        """Be gone."""
        if self._server is not None:
            self._server.close()
            self._server = None
        for writer in self.writers:
            writer.transport.abort()

    def say(self, octets: bytes) -> bool:
        """Say this; whether anybody is there."""
        for writer in self.writers:
            writer.write(octets)
        return bool(self.writers)

    async def _take(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self.writers.add(writer)
        writer.write(b"\xc0")  # what stands before the first mark is the tail of a frame
        with suppress(OSError):
            await reader.read()
        self.writers.discard(writer)
        writer.close()


@dataclass
class Post:
    """Everything, and the books."""

    folder: Path
    books: Books
    servers: tuple[Witness, ...]
    broker: MosquittoBroker
    decoder: Decoder = field(default_factory=Decoder)
    web: int = field(default_factory=free_port)
    lines: int = field(default_factory=free_port)
    process: asyncio.subprocess.Process | None = None
    started: float = 0.0
    """When `process` was."""

    log: deque[str] = field(default_factory=lambda: deque(maxlen=50))
    reads_log: asyncio.Event = field(default_factory=asyncio.Event)
    pace: float = 4.0
    """Frames a second."""

    quiet: bool = False
    """The decoder says nothing for now."""

    forgotten: list[tuple[float, float]] = field(default_factory=list)
    """When the disk took nothing, or the process was killed: what was heard then may not be in the journal."""

    _number: int = 0
    _client: httpx.AsyncClient = field(default_factory=lambda: httpx.AsyncClient(timeout=20.0))

    async def start(self) -> None:
        """Start the gateway."""
        self.books.begin_run()
        environment = {**os.environ, "STILE_PASSCODE": PASSCODE, "SOAK_TASKS": str(self.folder / "tasks")}
        if HAS_FAKETIME:
            environment |= {
                "LD_PRELOAD": str(FAKETIME), "FAKETIME_TIMESTAMP_FILE": str(self.folder / "clock"), "NO_FAKE_STAT": "1",
                "FAKETIME_DONT_FAKE_MONOTONIC": "1", "DONT_FAKE_MONOTONIC": "1", "FAKETIME_CACHE_DURATION": "1",
            }  # fmt: skip
        command = (sys.executable, "-m", "tests.bench.soak_gateway", "run", str(self.folder / "station.yaml"))
        self.started = time.monotonic()
        self.process = await asyncio.create_subprocess_exec(
            *command, stderr=asyncio.subprocess.PIPE, env=environment, limit=1 << 20
        )

    async def end(self, number: signal.Signals) -> None:
        """End it; a clean stop takes a few seconds at most and ends with 0."""
        assert self.process is not None
        began = time.monotonic()
        self.process.send_signal(number)
        try:
            status = await asyncio.wait_for(self.process.wait(), 20)
        except TimeoutError:
            self.books.note("a stop took more than 20 s")
            self.process.kill()
            status = await self.process.wait()
        if number is signal.SIGTERM and status != 0:
            self.books.note(f"it ended with {status}: {list(self.log)[-5:]}")
        self.forgotten.append((began - 1.5, time.monotonic()))

    def set_clock(self, offset: str) -> None:
        """Move the wall clock that the gateway sees, as `+366d`."""
        (self.folder / "clock").write_text(f"{offset}\n", "ascii")

    def say(self, count: int = 1) -> None:
        """So many frames, each with a copy that came by another way or one to be kept, now and then."""
        for _ in range(count):
            self._number += 1
            number = self._number
            line = frame(number, number % STATIONS)
            octets = kiss_of(line)
            if number % 7 == 0:
                octets += kiss_of(line.replace(b"RPT*", b"RPT")) + kiss_of(kept_frame(number))
            self.books.said[number] = time.monotonic()
            if not self.decoder.say(octets):
                del self.books.said[number]

    async def keep_saying(self) -> None:
        """For ever, at its pace."""
        while True:
            if not self.quiet:
                self.say()
            await asyncio.sleep(1 / self.pace)

    async def keep_reading_the_log(self) -> None:
        """For ever, while `reads_log`; what it must not hold is noted."""
        while True:
            await self.reads_log.wait()
            process = self.process
            if process is None or process.stderr is None:
                await asyncio.sleep(0.1)
                continue
            line = (await process.stderr.readline()).decode("utf-8", "replace")
            if not line:
                await asyncio.sleep(0.2)  # it has ended, and the next is not there yet
                continue
            self.log.append(line.rstrip())
            if PASSCODE in line or ENDED.search(line):
                self.books.note(f"the log says {line.rstrip()[:300]}")

    async def watch_oneself(self) -> None:
        """For ever: how long this process stood still, and whether the gateway is there."""
        while True:
            began = time.monotonic()
            await asyncio.sleep(0.1)
            lag = time.monotonic() - began - 0.1
            self.books.own_lag = max(lag, self.books.own_lag * 0.98)

    async def health(self) -> Any:  # noqa: ANN401 - JSON
        """What the gateway says of itself."""
        return (await self._client.get(f"http://127.0.0.1:{self.web}/api/health")).json()

    async def is_alive(self) -> bool:
        """Whether `/healthz` is answered."""
        try:
            return (await self._client.get(f"http://127.0.0.1:{self.web}/healthz")).status_code == httpx.codes.OK
        except httpx.HTTPError:
            return False

    async def until_well(self) -> None:
        """Wait until every part is well, and a frame goes up."""
        until, health = time.monotonic() + WELL_SECONDS, None
        while time.monotonic() < until:
            if self.process is None or self.process.returncode is not None:
                status = None if self.process is None else self.process.returncode
                self.books.note(f"the gateway has ended with {status}: {list(self.log)[-5:]}")
                await self.start()
            with suppress(httpx.HTTPError, ValueError):
                health = await self.health()
                if is_well(health):
                    return
            await asyncio.sleep(1.0)
        unwell = health and [(each["name"], each["state"], each.get("why")) for each in health["parts"]]
        self.books.note(f"not well after {WELL_SECONDS:g} s: {unwell}")

    async def add_up(self) -> None:
        """Say nothing for a moment, and hold what the gateway counts to what came out."""
        self.quiet = True
        await asyncio.sleep(1.5)
        health = await self.health()
        self.quiet = False
        counts, books = health["counts"], self.books
        outcomes = counts["outcomes"]
        if counts["heard"] != counts["forward"] + counts["keep"]:
            books.note(f"heard is not forward and keep: {counts}")
        if counts["forward"] != sum(outcomes.values()) + counts.get("waiting", 0):
            books.note(f"forward is not the sum of its outcomes: {counts}")
        [uplink] = [each for each in health["parts"] if each["kind"] == "uplink"]
        lost, unconfirmed = outcomes["sent"] - books.arrived_in_run, uplink["figures"]["unconfirmed"]
        if lost < 0 or (lost > unconfirmed and not books.unread_in_run):
            books.note(f"sent {outcomes['sent']}, arrived {books.arrived_in_run}, unconfirmed {unconfirmed}")

    def journal(self) -> set[int]:
        """The numbers of the frames that the journal holds, one that was moved away included."""
        numbers: set[int] = set()
        for path in self.folder.glob("*.db"):
            try:
                numbers |= _numbers_in(path)
            except sqlite3.DatabaseError as error:
                if not path.name.startswith("moved-"):
                    raise
                # Whoever moves the file alone, and kills the gateway before it sees that, leaves the file's log behind.
                print(f"a journal that was moved without its log cannot be read: {error}")
                self.forgotten.append((0.0, int(path.stem.removeprefix("moved-")) / 1e9))
        return numbers

    def check_journal(self) -> str:
        """After the end: all that went up is in the journal, but for what was heard as it could not be written."""
        held = self.journal()
        missing = [
            number
            for number in self.books.arrived
            if number not in held
            and not any(since <= self.books.said[number] <= until for since, until in self.forgotten)
        ]
        if missing:
            self.books.note(f"{len(missing)} frames went up and are not in the journal: {missing[:10]}")
        return f"journal: {len(held)} frames"


def _numbers_in(path: Path) -> set[int]:
    """The numbers of the frames in one journal. Raises `sqlite3.DatabaseError` where it is damaged."""
    numbers: set[int] = set()
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        for (text,) in connection.execute("SELECT object FROM heard"):
            found = re.search(r"soak (\d{7})", json.loads(text).get("information", ""))
            numbers |= {int(found[1])} if found else set()
    return numbers


def is_well(health: Any) -> bool:  # noqa: ANN401 - JSON
    """Whether all that carries frames works; what the journal lost may be said still."""
    wanted = ("uplink", "bus", "receiver", "web", "lines")
    states = {each["name"]: each["state"] for each in health["parts"] if each["kind"] in wanted}
    return all(state in ("ok", "waiting", "quiet") for state in states.values()) and states.get("uplink") == "ok"


@asynccontextmanager
async def post(folder: Path) -> AsyncIterator[Post]:
    """A post that works, for as long as the context lasts."""
    books = Books()
    async with Witness(books) as one, Witness(books) as two, MosquittoBroker() as broker:
        place = Post(folder, books, (one, two), broker)
        await place.decoder.listen()
        station = {
            "station": {"callsign": "QX1GAT-10", "position": {"latitude": 58.6, "longitude": -3.9167}},
            "receivers": [{"name": "vhf", "from": f"kiss+tcp://127.0.0.1:{place.decoder.port}"}],
            "policy": "./policy.yaml",
            "uplink": {
                "servers": [f"tcp://127.0.0.1:{server.port}" for server in place.servers],
                "freshness": f"{FRESHNESS_SECONDS:g}s",
            },
            "bus": {"broker": f"mqtt://127.0.0.1:{broker.port}"},
            "lines": {"listen": f"127.0.0.1:{place.lines}"},
            "web": {"listen": f"127.0.0.1:{place.web}"},
            "journal": {"path": "stile.db", "captures": "captures", "flush": "5s"},
            "alerts": [{"name": "near", "when": {"source": "QA00*"}, "again": "1m"}],
        }
        (folder / "station.yaml").write_text(json.dumps(station))  # JSON is YAML
        (folder / "policy.yaml").write_text("version: 1\nname: soak\n")
        place.set_clock("+0")
        place.reads_log.set()
        await place.start()
        tasks = [
            asyncio.create_task(each)
            for each in (place.keep_saying(), place.keep_reading_the_log(), place.watch_oneself())
        ]
        try:
            await place.until_well()
            yield place
        finally:
            for task in tasks:
                task.cancel()
            if place.process is not None and place.process.returncode is None:
                place.process.kill()
                await place.process.wait()
            place.decoder.leave()
