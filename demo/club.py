"""Plays the regatta through a club: three posts, three servers of the engine, two hubs, one of which is killed.

Posts and hubs are processes of `stile run`; the engine is the engine; the network server is the demo's stand-in. Each
post hears the same boats with gaps of its own. In the middle the sending hub is killed, then a server of the engine.
In the end the books are closed: every frame that at least one post heard and that the policy lets go went up once, or
is said to be late or unconfirmed.
"""

import asyncio
import contextlib
import json
import os
import signal
import sys
import tempfile
import time
import urllib.request
from collections import Counter
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from random import Random
from typing import Any

from demo.engine_servers import EngineServers
from demo.network_server import Fault, NetworkServer
from demo.regatta import frames
from gateway.club.embedded import free_port
from gateway.club.subjects import Subjects

POSTS = {"headland": 0.75, "harbour": 0.6, "island": 0.45}
"""How much of what is on the air each hears."""

HUBS = {"QX1HUB-10": "18096", "QX2HUB-10": "17840"}
"""Logins and their passcodes: calls that are allotted to nobody, so they open the stand-in server and no other."""

POLICY = Path(__file__).parent / "policy.yaml"
READY_SECONDS = 60.0
SETTLE_SECONDS = 11.0
"""What waits for longer than it stays fresh is late."""

DEFAULT_SECONDS = 45.0


class CountingServer(NetworkServer):
    """The stand-in, which also counts by login."""

    def __init__(self, port: int) -> None:
        super().__init__(port=port)
        self.by_login: Counter[str] = Counter()

    def judge(self, line: bytes, fault: Fault | None) -> None:
        """Count a line."""
        login = line.partition(b":")[0].rpartition(b",")[2].decode("latin-1")
        if login not in self.by_login:
            print(f"{_clock()} network: the first line by {login}", flush=True)
        self.by_login[login] += 1
        super().judge(line, fault)


class Hill:
    """What the modem of one post hears, on a KISS socket."""

    def __init__(self) -> None:
        self.port = 0
        self.heard = 0
        self._writers: list[asyncio.StreamWriter] = []

    @asynccontextmanager
    async def listening(self) -> AsyncIterator["Hill"]:
        """While the context lasts."""
        server = await asyncio.start_server(self._take, "127.0.0.1", 0)
        self.port = server.sockets[0].getsockname()[1]
        try:
            yield self
        finally:
            server.close()
            for writer in self._writers:
                writer.transport.abort()

    def hear(self, octets: bytes) -> None:
        """The modem writes."""
        self.heard += 1
        for writer in self._writers:
            if not writer.is_closing():
                writer.write(octets)

    async def _take(self, _: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._writers.append(writer)


class Station:
    """A post or a hub in a process of its own."""

    def __init__(self, folder: Path, callsign: str, text: str, passcode: str = "-1") -> None:
        self.callsign = callsign
        self.web = free_port()
        self._file = folder / f"{callsign}.yaml"
        self._file.write_text(
            f"station: {{callsign: {callsign}, position: {{latitude: 58.6000, longitude: -3.9167}}}}\n"
            f"web: {{listen: '127.0.0.1:{self.web}'}}\n{text}",
            "utf-8",
        )
        self._passcode = passcode
        self._process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        """Start it, or start it again."""
        with self._file.with_suffix(".log").open("ab") as log:
            self._process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "gateway.cli", "run", str(self._file),
                env={**os.environ, "STILE_PASSCODE": self._passcode}, stdout=log, stderr=log,
            )  # fmt: skip

    async def end(self, number: signal.Signals) -> None:
        """End it with a signal."""
        if self._process is not None:
            with contextlib.suppress(ProcessLookupError):
                self._process.send_signal(number)
            await self._process.wait()

    async def health(self) -> dict[str, Any]:
        """How it is; empty where it does not answer."""
        return await asyncio.to_thread(_health, self.web)

    async def until(self, *, state: str = "ok", holds: bool | None = None) -> dict[str, Any]:
        """Wait until its part in the club is so."""
        async with asyncio.timeout(READY_SECONDS):
            while True:
                health = await self.health()
                parts = [part for part in health.get("parts", ()) if part["kind"] == "club"]
                if parts and parts[0]["state"] == state and holds in (None, health.get("club", {}).get("holds")):
                    return health
                await asyncio.sleep(0.2)


def _health(port: int) -> dict[str, Any]:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/health", timeout=2) as answer:
            told: dict[str, Any] = json.load(answer)
            return told
    except (OSError, ValueError):
        return {}


def _clock() -> str:
    return time.strftime("%H:%M:%S")


async def _race(hills: list[Hill], seconds: float) -> None:
    """All that is on the air, in its time; each frame is heard by at least one post."""
    chance = Random(1)
    begun = time.monotonic()
    for on_air in frames():
        if on_air.seconds > seconds:
            return
        await asyncio.sleep(max(0.0, begun + on_air.seconds - time.monotonic()))
        lucky = [hill for hill, share in zip(hills, POSTS.values(), strict=True) if chance.random() < share]
        for hill in lucky or [chance.choice(hills)]:
            hill.hear(on_air.stream)


async def _misfortunes(hubs: list[Station], engine: EngineServers, seconds: float) -> None:
    """The sending hub is killed, and comes back; then a server of the engine is."""
    first, second = hubs
    await asyncio.sleep(seconds * 0.35)
    print(f"{_clock()} kill    {first.callsign}, the hub that sends", flush=True)
    killed = time.monotonic()
    await first.end(signal.SIGKILL)
    await second.until(holds=True)
    print(f"{_clock()} hub     {second.callsign} sends, {time.monotonic() - killed:.1f} s later", flush=True)
    await first.start()
    await first.until(holds=False)
    print(f"{_clock()} hub     {first.callsign} is back and stands by", flush=True)
    leader = await engine.leader_of(Subjects("wrackholm").stream) or 0
    print(f"{_clock()} kill    server {leader} of the engine, which leads the stream", flush=True)
    await engine.kill(leader)


async def play(seconds: float | None) -> bool:
    """Play for so long; the value says whether everything adds up."""
    seconds = seconds or DEFAULT_SECONDS
    async with contextlib.AsyncExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="stile-regatta-")))
        engine = await stack.enter_async_context(EngineServers())
        network = await stack.enter_async_context(CountingServer(free_port()))
        hills = [await stack.enter_async_context(Hill().listening()) for _ in POSTS]
        club = f"name: wrackholm, servers: [{', '.join(repr(url) for url in engine.urls)}]"
        hubs = [
            Station(
                folder, login,
                f"uplink: {{servers: ['tcp://127.0.0.1:{network.port}']}}\npolicy: {POLICY}\n"
                f"club: {{{club}, role: hub, lease: 3s}}\n",
                passcode,
            )
            for login, passcode in HUBS.items()
        ]  # fmt: skip
        posts = [
            Station(
                folder, f"QX{place}PST-1",
                f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{hill.port}'}}]\n"
                f"club: {{{club}, role: post, post: {name}}}\n",
            )
            for place, (name, hill) in enumerate(zip(POSTS, hills, strict=True), 3)
        ]  # fmt: skip
        try:
            await _open(hubs, posts, network, engine)
            async with asyncio.TaskGroup() as tasks:
                tasks.create_task(_race(hills, seconds))
                tasks.create_task(_misfortunes(hubs, engine, seconds))
            print(f"{_clock()} the race is over; what waits comes to its end", flush=True)
            await asyncio.sleep(SETTLE_SECONDS)
            health = await hubs[1].health()
            return _summary(health, network, sum(hill.heard for hill in hills))
        finally:
            await asyncio.gather(*(station.end(signal.SIGTERM) for station in (*hubs, *posts)))


async def _open(hubs: list[Station], posts: list[Station], network: CountingServer, engine: EngineServers) -> None:
    print(f"engine   three servers on {', '.join(engine.urls)}")
    print(f"network  stand-in server on 127.0.0.1:{network.port}")
    await hubs[0].start()
    await hubs[0].until(holds=True)
    for station in (hubs[1], *posts):
        await station.start()
    for station in (hubs[1], *posts):
        await station.until()
    pages = ", ".join(f"{hub.callsign} http://127.0.0.1:{hub.web}/" for hub in hubs)
    print(f"hubs     {pages}")
    print(f"posts    {', '.join(POSTS)}\n", flush=True)


def _summary(health: dict[str, Any], network: CountingServer, heard: int) -> bool:
    """Print what became of everything, as the surviving hub and the network server counted it."""
    if not health:
        print("NO   the surviving hub does not answer")
        return False
    counts, club = health["counts"], health["club"]
    outcomes = counts["outcomes"]
    first, second = (network.by_login[login] for login in HUBS)
    print()
    print("post       frames  alone  first  share")
    for post in club["posts"]:
        print(f"{post['name']:10} {post['frames']:6} {post['alone']:6} {post['first']:6} {post['first_share']:6.0%}")
    print(f"\nthe posts heard {heard}, copies of each other's included; the hub judged {counts['heard']}")
    print(f"heard {counts['heard']} = keep {counts['keep']} + forward {counts['forward']}")
    ends = " + ".join(f"{end} {count}" for end, count in outcomes.items())
    print(f"  forward {counts['forward']} = {ends} + waiting {counts['waiting']}")
    print(f"the network server counted: {network.counts}; by the first hub {first}, by the second {second}")
    unconfirmed = outcomes["unconfirmed"]
    checks = {
        "nothing went twice, and nothing that is not proper": not network.counts.duplicates
        and not network.counts.rejected,
        "forward = the outcomes, and nothing waits": counts["forward"] == sum(outcomes.values())
        and not counts["waiting"],
        "the second hub's lines all came": second == outcomes["sent"],
        "the first hub's are those given out elsewhere, but for what is unconfirmed": outcomes["elsewhere"]
        <= first
        <= outcomes["elsewhere"] + unconfirmed,
        "another hub went on": second > 0 and first > 0,
    }
    for what, holds in checks.items():
        print(f"  {'yes' if holds else 'NO '}  {what}")
    return all(checks.values())
