"""A county for the tests: real posts and hubs in processes of their own, three engine servers, and ways to be cut.

It says what each post hears, does harm to any part, and keeps the books: what came to the network's server and when,
and what became of every frame that did not. It may be divided: two sets of hubs, each of which takes half the slices.
"""

import asyncio
import contextlib
import json
import os
import random
import signal
import sys
import tempfile
import time
import urllib.request
from collections import Counter
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from enum import StrEnum
from pathlib import Path
from typing import Any

from demo.engine_servers import EngineServers
from demo.network_server import Fault as LineFault
from demo.network_server import NetworkServer
from gateway.club.embedded import free_port
from gateway.club.slices import ALL, Slices, slice_of_sender
from gateway.club.subjects import Subjects
from tests.club.proxy import Proxy
from tests.whole_gateway import Decoder, kiss_of

LEASE_SECONDS = 2.0
FRESHNESS_SECONDS = 10.0
SLACK_SECONDS = 0.5
"""Of a busy computer between the hub's write and the stand-in server's clock."""

TAKE_OVER_SECONDS = LEASE_SECONDS + 4.0
PASSCODES = {"QX1HUB-10": "18096", "QX2HUB-10": "17840", "QX6HUB-10": "16816", "QX7HUB-10": "16560"}
WHOLE = {"QX1HUB-10": ALL, "QX2HUB-10": ALL}
DIVIDED = dict(zip(PASSCODES, [Slices.of(range(8))] * 2 + [Slices.of(range(8, 16))] * 2, strict=True))
"""Which slices each hub takes."""

POSTS = ("headland", "harbour", "island")
STREAM = Subjects("wrackholm").stream
LAST_WORDS = 3000
_EXPLAINED = frozenset({"late", "unconfirmed", "dropped", "stopped"})


class Harm(StrEnum):
    """What can be done to a part."""

    KILL = "kill"
    STOP = "stop"
    CUT = "cut"


class Part(StrEnum):
    """What it can be done to."""

    SENDER = "the sending hub"
    LEADER = "the engine's leader"
    POST = "one post"
    NETWORK = "the network server"
    ENGINE_ALONE = "the sending hub's connection to the engine alone"


FAULTS = [(harm, part) for part in Part for harm in Harm if part is not Part.ENGINE_ALONE] + [
    (Harm.CUT, Part.ENGINE_ALONE)
]


class Network(NetworkServer):
    """The stand-in server, which also says when each line came."""

    def __init__(self) -> None:
        super().__init__(keep_lines=10)
        self.arrivals: list[tuple[float, str, str]] = []
        """When, from which login, what it says."""

    def judge(self, line: bytes, fault: LineFault | None) -> None:
        """Count a line, and note it."""
        header, _, said = line.partition(b":>")
        self.arrivals.append((time.monotonic(), header.rpartition(b",")[2].decode(), said.strip().decode()))
        super().judge(line, fault)


@dataclass
class Member:
    """A station in a process of its own."""

    name: str
    file: Path
    books: Path
    passcode: str
    engine: list[Proxy]
    network: Proxy | None = None
    web: int = 0
    slices: Slices = ALL
    """Of a hub: those that it takes."""

    process: asyncio.subprocess.Process | None = None

    async def start(self) -> None:
        """Start it, or start it again."""
        with self.file.with_suffix(".log").open("ab") as log:
            self.process = await asyncio.create_subprocess_exec(
                sys.executable, "-m", "tests.club.member_process", str(self.file), str(self.books),
                env={**os.environ, "STILE_PASSCODE": self.passcode}, stdout=log, stderr=log,
            )  # fmt: skip

    def send_signal(self, number: signal.Signals) -> None:
        """Send it a signal, if it runs."""
        if self.process is not None and self.process.returncode is None:
            self.process.send_signal(number)

    async def end(self, number: signal.Signals = signal.SIGKILL) -> None:
        """End it."""
        self.send_signal(number)
        if self.process is not None:
            await self.process.wait()

    def last_words(self) -> str:
        """How it ended, if it did, and the end of its log."""
        log = self.file.with_suffix(".log").read_text("utf-8", "replace")[-LAST_WORDS:]
        return f"{self.name}, exit {self.process.returncode if self.process else None}:\n{log}"

    def ends(self) -> list[tuple[str, str]]:
        """What it wrote down: what became of a frame, and what it says."""
        if not self.books.exists():
            return []
        lines = [line.split(" ", 1) for line in self.books.read_text("latin-1").splitlines()]
        return [(line[0], line[1]) for line in lines if len(line) == 2]


@dataclass
class Account:
    """The books of a county, closed."""

    offered: int
    arrived: int
    twice: list[str]
    late: list[tuple[str, float]]
    missing: Counter[str]
    """Frames that did not arrive, by why."""

    unexplained: list[str]
    unconfirmed: int
    """Frames that did not arrive, and of which a hub does not know whether it sent them."""

    astray: list[str]
    """Frames that a hub sent which does not take their slice."""

    @property
    def faults(self) -> list[str]:
        """What does not hold; empty: nothing went twice, late or astray, and everything is accounted for."""
        found: dict[str, Sequence[object]] = {
            "twice": self.twice, "late": self.late, "unexplained": self.unexplained, "astray": self.astray,
        }  # fmt: skip
        return [f"{len(frames)} {what}: {frames[:5]}" for what, frames in found.items() if frames]


@dataclass
class County:
    """Everything, running."""

    engine: EngineServers
    routes: dict[tuple[int, int], Proxy]
    network: Network
    hubs: list[Member]
    posts: list[Member]
    decoders: list[Decoder]
    chance: random.Random
    heard: dict[str, tuple[float, list[int]]] = field(default_factory=dict)
    """When each frame was heard, and by which posts."""

    lost_on_the_way: set[str] = field(default_factory=set)
    take_overs: list[float] = field(default_factory=list)
    hearing: bool = False
    """Set it to False, and `hear` ends soon."""

    holders: list[Member] = field(default_factory=list)
    """The hubs that held a lease when all was well last, one of each set."""

    ailing: list[tuple[str, list[dict[str, Any]] | None]] = field(default_factory=list)
    """Who was not well when last asked, and how."""

    async def hear(self, seconds: float, pace: float = 20.0) -> None:
        """Let the posts hear so many different frames a second, each frame by one or several of them."""
        self.hearing = True
        until = time.monotonic() + seconds
        while time.monotonic() < until and self.hearing:
            said = f"{len(self.heard)}"
            posts = self.chance.sample(range(len(POSTS)), self.chance.randint(1, len(POSTS)))
            self.heard[said] = time.monotonic(), posts
            for place in posts:
                with contextlib.suppress(OSError):
                    await self.decoders[place].send(kiss_of(f"{_sender_of(said)}>APRS:>{said}".encode()))
            await asyncio.sleep(1 / pace)

    async def until_it_sends(self, holds: Callable[[str], bool] = bool, seconds: float = 30.0) -> float:
        """Wait for a line from a login that `holds`, behind all that came; gives back when it came."""
        known = len(self.network.arrivals)
        found: list[float] = []

        def came() -> bool:
            found.extend(when for when, login, _ in self.network.arrivals[known:] if holds(login))
            return bool(found)

        await self.network.until(came, seconds)
        return found[0]

    async def until_all_is_well(self, seconds: float = 60.0) -> None:
        """Wait until one hub of each set sends, the other stands by, and every post hands on."""
        until = time.monotonic() + seconds
        while not await self._all_is_well():
            if time.monotonic() > until:
                silent = [member for member in (*self.hubs, *self.posts) if (member.name, None) in self.ailing]
                raise TimeoutError("\n".join([str(self.ailing), *(member.last_words() for member in silent)]))
            await asyncio.sleep(0.2)

    async def _all_is_well(self) -> bool:
        found = [await asyncio.to_thread(_health, member.web) for member in (*self.hubs, *self.posts)]
        self.ailing = [
            (member.name, None if health is None else [part for part in health["parts"] if part["state"] != "ok"])
            for member, health in zip((*self.hubs, *self.posts), found, strict=True)
        ]
        if any(health is None for health in found):
            return False
        if any(part["kind"] in ("club", "uplink") for _, parts in self.ailing if parts for part in parts):
            return False
        self.holders = [
            hub for hub, health in zip(self.hubs, found, strict=False) if health and health["club"]["holds"]
        ]
        return sorted(hub.slices.numbers for hub in self.holders) == sorted({hub.slices.numbers for hub in self.hubs})

    async def suffer(self, harm: Harm, part: Part, seconds: float, led: str = STREAM) -> Member | None:
        """Do harm for so long, and mend it; frames go on all the while. `led`: what the engine's leader leads.

        A hub's take-over is timed. Gives back the hub that it took over from; None where there was none to be.
        """
        sender = self.chance.choice(self.holders)
        standbys = {hub.name for hub in self.hubs if hub.slices == sender.slices and hub is not sender}
        leader = await self.engine.leader_of(led) or 0
        post = self.chance.choice(self.posts)
        begun = time.monotonic()
        another_sends = part in (Part.SENDER, Part.ENGINE_ALONE)
        async with self._harmed(harm, part, sender, leader, post):
            if another_sends:
                until = self.until_it_sends(standbys.__contains__, TAKE_OVER_SECONDS + 10)
                self.take_overs.append(await until - begun)
            await asyncio.sleep(max(0.0, begun + seconds - time.monotonic()))
        return sender if another_sends else None

    @asynccontextmanager
    async def _harmed(self, harm: Harm, part: Part, sender: Member, leader: int, post: Member) -> AsyncIterator[None]:
        """Harm is done for a block, and mended after it."""
        member = sender if part is Part.SENDER else post
        match harm, part:
            case Harm.KILL, (Part.SENDER | Part.POST):
                await member.end()
                yield
                await member.start()
            case Harm.STOP, (Part.SENDER | Part.POST):
                member.send_signal(signal.SIGSTOP)
                yield
                member.send_signal(signal.SIGCONT)
            case Harm.KILL, Part.LEADER:
                await self.engine.kill(leader)
                yield
                await self.engine.start(leader)
            case Harm.STOP, Part.LEADER:
                self.engine.pause(leader)
                yield
                self.engine.go_on(leader)
            case Harm.KILL, Part.NETWORK:
                self.network.refuse()
                self.network.reset()
                yield
                await self.network.listen()
            case _:
                proxies = self._ways(part, sender, leader, post)
                for proxy in proxies:
                    proxy.cut()
                yield
                networks = [hub.network for hub in self.hubs]
                for proxy in proxies:
                    # What was held up on its way to the network is lost: it would be late. What the engine gets late,
                    # it gets: that is what the lease must stand.
                    proxy.mend(losing=proxy in networks or part is Part.LEADER)

    def _ways(self, part: Part, sender: Member, leader: int, post: Member) -> list[Proxy]:
        if part is Part.SENDER:
            return [*sender.engine, *([sender.network] if sender.network is not None else [])]
        if part is Part.ENGINE_ALONE:
            return sender.engine
        if part is Part.POST:
            return post.engine
        if part is Part.NETWORK:
            return [hub.network for hub in self.hubs if hub.network is not None]
        to_it = [member.engine[leader] for member in (*self.hubs, *self.posts)]
        return [*to_it, *(proxy for pair, proxy in self.routes.items() if leader in pair)]

    def account(self, *, in_flight: frozenset[str] = frozenset()) -> Account:
        """Close the books."""
        arrivals = Counter(said for _, _, said in self.network.arrivals)
        late = [
            (said, when - self.heard[said][0])
            for when, _, said in self.network.arrivals
            if said in self.heard and when - self.heard[said][0] > FRESHNESS_SECONDS + SLACK_SECONDS
        ]
        of_hubs: dict[str, set[str]] = {}
        for hub in self.hubs:
            for end, said in hub.ends():
                of_hubs.setdefault(said, set()).add(end)
        handed_on = [{said for end, said in post.ends() if end == "handed-on"} for post in self.posts]
        missing: Counter[str] = Counter()
        unexplained = []
        unconfirmed = sum("unconfirmed" in ends and said not in arrivals for said, ends in of_hubs.items())
        for said, (_, posts) in self.heard.items():
            if said in arrivals:
                continue
            ends = of_hubs.get(said, set())
            if ends & _EXPLAINED:
                missing[min(ends & _EXPLAINED)] += 1
            elif said in self.lost_on_the_way or ("sent" in ends and said in in_flight):
                missing["lost on the way"] += 1
            elif not any(said in handed_on[place] for place in posts):
                missing["not handed on"] += 1
            elif "sent" in ends:
                missing["sent, and its connection broke"] += 1
            else:
                unexplained.append(f"{said}: {sorted(ends)}")
        twice = [said for said, count in arrivals.items() if count > 1]
        taken_by = {hub.name: hub.slices.numbers for hub in self.hubs}
        astray = [
            f"{said} by {login}"
            for _, login, said in self.network.arrivals
            if slice_of_sender(_sender_of(said)) not in taken_by[login]
        ]
        return Account(len(self.heard), len(arrivals), twice, late, missing, unexplained, unconfirmed, astray)


def _sender_of(said: str) -> str:
    """Who says it: boats whose slices are spread over both halves."""
    return f"QA1BCD-{int(said) % 15 + 1}"


def _health(port: int) -> dict[str, Any] | None:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/api/health", timeout=2) as answer:
            told: dict[str, Any] = json.load(answer)
            return told
    except (OSError, ValueError):
        return None


@asynccontextmanager
async def county(draw: int, *, divided: bool = False) -> AsyncIterator[County]:
    """A county whose hubs and posts run, and one hub of which sends; where it is `divided`, one of each set does."""
    async with contextlib.AsyncExitStack() as stack:
        enter = stack.enter_async_context
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="stile-county-")))
        routes: dict[tuple[int, int], Proxy] = {}

        def way(place: int, other: int, port: int) -> int:
            routes[place, other] = Proxy(port, port=free_port())
            return routes[place, other].port

        engine = EngineServers(way=way)
        for proxy in routes.values():
            await enter(proxy)
        await enter(engine)
        network = await enter(Network())
        found = County(engine, routes, network, [], [], [], random.Random(draw))

        def lose(octets: bytes) -> None:
            for line in octets.split(b"\r\n"):
                found.lost_on_the_way.add(line.rpartition(b":>")[2].strip().decode("latin-1"))

        for name, slices in (DIVIDED if divided else WHOLE).items():
            out = await enter(Proxy(network.port, on_lost=lose))
            ways = [await enter(Proxy(port)) for port in engine.ports]
            more = f"uplink: {{servers: ['tcp://127.0.0.1:{out.port}']}}\n"
            role = f"role: hub, slices: [{', '.join(map(str, slices.numbers))}]"
            found.hubs.append(
                _member(folder, name, passcode=PASSCODES[name], ways=ways, more=more, role=role, network=out)
            )
            found.hubs[-1].slices = slices
        for place, name in enumerate(POSTS):
            decoder = await enter(Decoder())
            found.decoders.append(decoder)
            ways = [await enter(Proxy(port)) for port in engine.ports]
            receivers = f"receivers: [{{name: vhf, from: 'kiss+tcp://127.0.0.1:{decoder.port}'}}]\n"
            found.posts.append(
                _member(
                    folder,
                    f"QX{place + 3}PST-1",
                    passcode="-1",
                    ways=ways,
                    more=receivers,
                    role=f"role: post, post: {name}",
                )
            )
        try:
            for member in (*found.hubs, *found.posts):
                await member.start()
            await found.until_all_is_well()
            yield found
        finally:
            await asyncio.gather(*(member.end() for member in (*found.hubs, *found.posts)))


def _member(  # noqa: PLR0913 - all that one station differs by from another
    folder: Path, callsign: str, *, passcode: str, ways: list[Proxy], more: str, role: str, network: Proxy | None = None
) -> Member:
    web = free_port()
    servers = ", ".join(f"'nats://127.0.0.1:{proxy.port}'" for proxy in ways)
    file = folder / f"{callsign}.yaml"
    file.write_text(
        f"station: {{callsign: {callsign}}}\n{more}web: {{listen: '127.0.0.1:{web}'}}\n"
        f"club: {{name: wrackholm, servers: [{servers}], {role}, lease: {LEASE_SECONDS:g}s}}\n",
        "utf-8",
    )
    return Member(callsign, file, folder / f"{callsign}.book", passcode, ways, network, web)
