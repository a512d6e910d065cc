"""What happens to the post of a soak: each fault lasts for some seconds and is then mended."""

import asyncio
import os
import resource
import signal
import time
from collections.abc import Awaitable, Callable
from contextlib import suppress
from dataclasses import dataclass

from demo.network_server import Answer
from tests.bench.soak_post import HAS_FAKETIME, Post

Suffer = Callable[[Post, float], Awaitable[None]]

PATIENCE_SECONDS = 120.0

LONG_BOUND = 1 << 40
"""More octets than any file here has."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing that can go wrong."""

    name: str
    suffer: Suffer
    ends_process: bool = False


async def come_back(listen: Callable[[], Awaitable[None]]) -> None:
    """Listen again; another program of this computer may have the port for a moment, for a connection of its own."""
    async with asyncio.timeout(PATIENCE_SECONDS):
        while True:
            try:
                return await listen()
            except (OSError, RuntimeError):
                await asyncio.sleep(0.5)


async def servers_reset(place: Post, seconds: float) -> None:
    """Connections are reset again and again."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for server in place.servers:
            server.cut_off()
        await asyncio.sleep(1.0)


async def servers_refuse(place: Post, seconds: float) -> None:
    """Nobody listens."""
    for server in place.servers:
        server.refuse()
        server.cut_off()
    await asyncio.sleep(seconds)
    for server in place.servers:
        await come_back(server.listen)


async def server_freezes(place: Post, seconds: float) -> None:
    """Both read nothing, and never read what came meanwhile."""
    for server in place.servers:
        server.stop_reading()
    await asyncio.sleep(seconds)
    for server in place.servers:
        server.cut_off()
        server.go_on_reading()


async def server_half_closes(place: Post, seconds: float) -> None:
    """They say no more."""
    for server in place.servers:
        server.half_close()
    await asyncio.sleep(seconds)


async def server_babbles(place: Post, seconds: float) -> None:
    """Octets of every kind, and lines without end."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        for server in place.servers:
            server.say(os.urandom(2000))
            server.say(b"# " + bytes(600) + b"\r\n" + b"QA1BCD>APRS,TCPIP*:>hello\r\n" * 20)
        await asyncio.sleep(0.2)
    for server in place.servers:
        server.cut_off()


async def server_conduct(place: Post, seconds: float, **conduct: object) -> None:
    """New connections meet servers that behave otherwise."""
    for server in place.servers:
        for name, value in conduct.items():
            setattr(server.conduct, name, value)
        server.cut_off()
    await asyncio.sleep(seconds)
    for server in place.servers:
        server.conduct.greets, server.conduct.answer, server.conduct.dribbles = True, Answer.HONEST, False
        server.cut_off()


async def decoder_goes(place: Post, seconds: float) -> None:
    """It is gone, and comes back."""
    place.decoder.leave()
    await asyncio.sleep(seconds)
    await come_back(place.decoder.listen)


async def decoder_babbles(place: Post, seconds: float) -> None:
    """Octets of every kind between the frames."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        place.decoder.say(b"\xc0" + os.urandom(700).replace(b"\xc0", b"\xc1") + b"\xc0\xc0")
        await asyncio.sleep(0.1)


async def decoder_bursts(place: Post, seconds: float) -> None:
    """Far more than a channel brings."""
    place.say(300)
    await asyncio.sleep(seconds)


async def broker_dies(place: Post, seconds: float) -> None:
    """It is killed, and has forgotten everything when it comes back."""
    await place.broker.kill()
    await asyncio.sleep(seconds)
    await come_back(place.broker.start)


async def broker_hangs(place: Post, seconds: float) -> None:
    """It takes nothing."""
    place.broker.pause()
    await asyncio.sleep(seconds)
    place.broker.resume()


async def clock_jumps(place: Post, seconds: float, offset: str) -> None:
    """The wall clock is wrong for a while."""
    place.set_clock(offset)
    await asyncio.sleep(seconds + 1)
    place.set_clock("+0")


async def stands_still(place: Post, seconds: float) -> None:
    """The gateway gets no time at all."""
    assert place.process is not None
    place.process.send_signal(signal.SIGSTOP)
    await asyncio.sleep(seconds)
    place.process.send_signal(signal.SIGCONT)
    await asyncio.sleep(1.0)


async def disk_is_full(place: Post, seconds: float) -> None:
    """No file of the gateway's may grow (setrlimit(2), RLIMIT_FSIZE)."""
    assert place.process is not None
    began = time.monotonic()
    resource.prlimit(place.process.pid, resource.RLIMIT_FSIZE, (1000, LONG_BOUND))
    await asyncio.sleep(seconds)
    resource.prlimit(place.process.pid, resource.RLIMIT_FSIZE, (LONG_BOUND, LONG_BOUND))
    place.forgotten.append((began - 6.0, time.monotonic() + 65.0))


async def journal_is_moved(place: Post, seconds: float) -> None:
    """Somebody moves the journal and deletes the captures."""
    began = time.monotonic()
    await asyncio.sleep(6.0)  # what was heard before is settled
    with suppress(OSError):
        (place.folder / "stile.db").rename(place.folder / f"moved-{time.monotonic_ns()}.db")
    for path in (place.folder / "captures").glob("*"):
        path.unlink()
    await asyncio.sleep(seconds)
    place.forgotten.append((began, time.monotonic() + 65.0))


async def log_is_not_read(place: Post, seconds: float) -> None:
    """Its reader takes nothing."""
    place.reads_log.clear()
    await asyncio.sleep(seconds)
    place.reads_log.set()


async def clients_say_nothing(place: Post, seconds: float) -> None:
    """Hundreds of silent connections, some that ask for everything and read nothing, and one that sends nonsense."""
    writers = []
    for number in range(200):
        with suppress(OSError):
            _, writer = await asyncio.open_connection("127.0.0.1", place.web, limit=1024)
            writers.append(writer)
            if number % 10 == 0:
                writer.write(b"GET /events HTTP/1.1\r\nHost: 127.0.0.1:%d\r\n\r\n" % place.web)
            elif number % 10 == 1:
                writer.write(os.urandom(300))
    for _ in range(10):
        with suppress(OSError):
            writers.append((await asyncio.open_connection("127.0.0.1", place.lines, limit=1024))[1])
    if not await place.is_alive():
        place.books.note("/healthz is not answered beside silent clients")
    await asyncio.sleep(seconds)
    for writer in writers:
        writer.transport.abort()


async def policy_changes(place: Post, seconds: float) -> None:
    """A policy that cannot be used, then one that can."""
    assert place.process is not None
    policy = place.folder / "policy.yaml"
    for text in (
        "version: 1\nname: [\n",
        "version: 1\nname: soak\nrates: [{name: all, per: everything, allow: 600 per minute}]\n",
    ):
        policy.write_text(text)
        place.process.send_signal(signal.SIGHUP)
        await asyncio.sleep(seconds / 2)


async def is_killed(place: Post, seconds: float) -> None:
    """kill -9, and started again."""
    await place.end(signal.SIGKILL)
    await asyncio.sleep(min(seconds, 3.0))
    await place.start()


async def is_stopped(place: Post, seconds: float) -> None:
    """An orderly restart."""
    await place.end(signal.SIGTERM)
    await asyncio.sleep(min(seconds, 3.0))
    await place.start()


FAULTS = [
    Fault("servers reset", servers_reset),
    Fault("servers refuse", servers_refuse),
    Fault("servers freeze", server_freezes),
    Fault("servers half-close", server_half_closes),
    Fault("servers babble", server_babbles),
    Fault("servers do not greet", lambda place, seconds: server_conduct(place, seconds, greets=False)),
    Fault("servers refuse the login", lambda place, seconds: server_conduct(place, seconds, answer=Answer.UNVERIFIED)),
    Fault("servers do not answer", lambda place, seconds: server_conduct(place, seconds, answer=Answer.NONE)),
    Fault("servers dribble", lambda place, seconds: server_conduct(place, seconds, dribbles=True)),
    Fault("decoder goes", decoder_goes),
    Fault("decoder babbles", decoder_babbles),
    Fault("decoder bursts", decoder_bursts),
    Fault("broker dies", broker_dies),
    Fault("broker hangs", broker_hangs),
    Fault("gateway stands still", stands_still),
    Fault("disk is full", disk_is_full),
    Fault("journal is moved", journal_is_moved),
    Fault("log is not read", log_is_not_read),
    Fault("clients say nothing", clients_say_nothing),
    Fault("policy changes", policy_changes),
    Fault("gateway is killed", is_killed, ends_process=True),
    Fault("gateway is stopped", is_stopped, ends_process=True),
]
if HAS_FAKETIME:
    FAULTS += [
        Fault("clock a year ahead", lambda place, seconds: clock_jumps(place, seconds, "+366d")),
        Fault("clock an hour back", lambda place, seconds: clock_jumps(place, seconds, "-1h")),
    ]
