"""A real mosquitto for tests, and `mosquitto_sub` as a witness of what it holds that shares no code with ours."""

import asyncio
import os
import signal
import socket
import subprocess
import tempfile
from collections.abc import AsyncIterator, Callable, Sequence
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass, field
from getpass import getuser
from pathlib import Path
from typing import Protocol, Self

FAIL_SAFE_SECONDS = 20.0
"""How long anything may take before a test gives up. Nothing waits for this long when all is well."""

_PROGRAM_FOLDERS = f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin"


def free_port() -> int:
    """A port of the loopback interface that nothing listens on just now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


@dataclass(frozen=True, slots=True)
class Login:
    """A user whom the broker knows."""

    username: str
    password: str


class Reachable(Protocol):
    """A broker on loopback, whosever it is."""

    @property
    def port(self) -> int: ...

    @property
    def login(self) -> Login | None: ...


@dataclass(frozen=True, slots=True)
class BrokerAddress:
    """A broker that somebody else started."""

    port: int
    login: Login | None = None


class MosquittoBroker:
    """A broker on a loopback port of its own, in a folder of its own; `async with` starts and ends it.

    It keeps nothing on disk: started again, it has forgotten what it retained.
    """

    def __init__(self, login: Login | None = None, settings: Sequence[str] = (), port: int | None = None) -> None:
        self.port = port or free_port()
        self.login = login
        self._settings = tuple(settings)
        self._folder: tempfile.TemporaryDirectory[str] | None = None
        self._process: asyncio.subprocess.Process | None = None

    async def __aenter__(self) -> Self:
        await self.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        await self.kill()
        if self._folder is not None:
            self._folder.cleanup()

    async def start(self) -> None:
        """Start it, and wait until it listens."""
        self._folder = self._folder or tempfile.TemporaryDirectory(prefix="mosquitto-")
        folder = Path(self._folder.name)
        # Started by root it would go on as a user of its own, who may read nothing of ours.
        settings = [f"listener {self.port} 127.0.0.1", f"user {getuser()}", "log_type error", *self._settings]
        if self.login is None:
            settings.append("allow_anonymous true")
        else:
            settings += ["allow_anonymous false", f"password_file {_write_password_file(folder, self.login)}"]
        path = folder / "mosquitto.conf"
        path.write_text("\n".join([*settings, ""]))
        self._process = await asyncio.create_subprocess_exec(
            "mosquitto",
            "-c",
            str(path),
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            env={**os.environ, "PATH": _PROGRAM_FOLDERS},
        )
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            while not await self._listens():  # noqa: ASYNC110 - another process tells no event
                await asyncio.sleep(0.01)

    async def stop(self) -> None:
        """End it as an operator would."""
        await self._end(signal.SIGTERM)

    async def kill(self) -> None:
        """End it without a chance to say anything."""
        await self._end(signal.SIGKILL)

    def pause(self) -> None:
        """Stall it: its sockets stay open, and nothing is read or answered."""
        self._signal(signal.SIGSTOP)

    def resume(self) -> None:
        """Let it go on."""
        self._signal(signal.SIGCONT)

    def _signal(self, number: signal.Signals) -> None:
        if self._process is not None:
            with suppress(ProcessLookupError):
                self._process.send_signal(number)

    async def _end(self, number: signal.Signals) -> None:
        if self._process is not None:
            self._signal(number)
            await self._process.wait()
            self._process = None

    async def _listens(self) -> bool:
        if self._process is None or self._process.returncode is not None:
            raise RuntimeError(f"mosquitto ended by itself; its settings are {self._settings}")
        try:
            _, writer = await asyncio.open_connection("127.0.0.1", self.port)
        except OSError:
            return False
        writer.close()
        await writer.wait_closed()
        return True


def _write_password_file(folder: Path, login: Login) -> Path:
    path = folder / "passwords"
    path.write_text(f"{login.username}:{login.password}\n")
    path.chmod(0o600)
    subprocess.run(["mosquitto_passwd", "-U", str(path)], check=True, capture_output=True)
    return path


@dataclass(frozen=True, slots=True)
class Seen:
    """One message, as `mosquitto_sub` printed it."""

    topic: str
    payload: bytes
    retained: bool
    """It was retained at the broker before the witness came."""

    quality: int


@dataclass
class Witness:
    """What `mosquitto_sub` has seen so far."""

    seen: list[Seen] = field(default_factory=list)
    _news: asyncio.Condition = field(default_factory=asyncio.Condition)

    async def until(self, holds: Callable[[list[Seen]], bool]) -> list[Seen]:
        """Wait until what was seen satisfies `holds`; returns it."""
        async with asyncio.timeout(FAIL_SAFE_SECONDS), self._news:
            await self._news.wait_for(lambda: holds(self.seen))
            return list(self.seen)

    async def until_topic(self, topic: str, count: int = 1) -> list[Seen]:
        """Wait for so many messages on `topic`; returns those."""
        await self.until(lambda seen: sum(message.topic == topic for message in seen) >= count)
        return [message for message in self.seen if message.topic == topic]

    async def note(self, message: Seen) -> None:
        """Another message was seen."""
        async with self._news:
            self.seen.append(message)
            self._news.notify_all()


@asynccontextmanager
async def witness(broker: Reachable, *topics: str) -> AsyncIterator[Witness]:
    """`mosquitto_sub` on `topics`, on all where there are none, subscribed when the block begins."""
    wanted = [part for topic in topics or ("#",) for part in ("-t", topic)]
    process = await asyncio.create_subprocess_exec(
        *("stdbuf", "-oL"),  # it says when it has subscribed, but into a pipe only a block at a time
        "mosquitto_sub",
        *_access(broker),
        *(*wanted, "-q", "1", "-d", "-F", "=%r %q %x %t"),
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        limit=1 << 22,
    )
    record = Witness()
    subscribed = asyncio.Event()
    reading = asyncio.create_task(_read(process, record, subscribed))
    try:
        async with asyncio.timeout(FAIL_SAFE_SECONDS):
            await subscribed.wait()
        yield record
    finally:
        with suppress(ProcessLookupError):
            process.kill()
        await process.wait()
        await reading


async def _read(process: asyncio.subprocess.Process, record: Witness, subscribed: asyncio.Event) -> None:
    assert process.stdout is not None
    async for line in process.stdout:
        if line.startswith(b"="):
            retained, quality, octets, topic = line[1:].rstrip(b"\n").split(b" ", 3)
            payload = bytes.fromhex(octets.decode("ascii"))
            await record.note(Seen(topic.decode("utf-8"), payload, retained == b"1", int(quality)))
        elif line.startswith(b"Subscribed"):
            subscribed.set()


async def publish(broker: Reachable, topic: str, payload: bytes, *, retain: bool = False) -> None:
    """Publish with `mosquitto_pub`: something that is not ours. An empty payload clears what is retained.

    It waits until the broker has it: at quality 0 some drop what a client sends just before it leaves.
    """
    how = ["-q", "1", "-s" if payload else "-n", *(["-r"] if retain else [])]
    process = await asyncio.create_subprocess_exec(
        "mosquitto_pub", *_access(broker), "-t", topic, *how, stdin=subprocess.PIPE
    )
    await process.communicate(payload)
    assert process.returncode == 0


async def retained(broker: Reachable, topics: str = "#") -> dict[str, bytes]:
    """Every retained message that the broker holds on `topics`, as a witness sees it that came just now."""
    end = "end-of-retained"
    async with witness(broker, topics, end) as newcomer:
        await publish(broker, end, b"end")
        seen = await newcomer.until(lambda seen: any(message.topic == end for message in seen))
    return {message.topic: message.payload for message in seen if message.retained}


def _access(broker: Reachable) -> list[str]:
    login = broker.login
    who = [] if login is None else ["-u", login.username, "-P", login.password]
    return ["-h", "127.0.0.1", "-p", str(broker.port), *who]
