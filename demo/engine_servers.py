"""Three servers of the engine on loopback, which can be killed, paused and started again."""

import asyncio
import json
import signal
import tempfile
import urllib.request
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from gateway.club.embedded import EmbeddedEngine, free_port

READY_SECONDS = 30.0


class EngineServers:
    """A cluster, while the context lasts."""

    def __init__(
        self, servers: int = 3, more: str = "", way: Callable[[int, int, int], int] = lambda _, __, port: port
    ) -> None:
        """`more`: what stands in each server's configuration besides, as accounts.

        `way`: by which port a server (the first number) goes to another (the second), which listens for others of
        the cluster at the third.
        """
        self._folder = tempfile.TemporaryDirectory(prefix="stile-club-", ignore_cleanup_errors=True)
        self.ports = [free_port() for _ in range(servers)]
        self._monitors = [free_port() for _ in range(servers)]
        routes = [free_port() for _ in range(servers)]
        self.servers = [
            EmbeddedEngine(
                Path(self._folder.name),
                port,
                f"server_name: s{place}\nlisten: 127.0.0.1:{port}\nhttp: 127.0.0.1:{self._monitors[place]}\n"
                f'jetstream {{ store_dir: "{self._folder.name}/s{place}" }}\n'
                + (self._cluster(place, routes, way) if servers > 1 else "")
                + more,
                f"s{place}",
            )
            for place, port in enumerate(self.ports)
        ]  # fmt: skip

    @staticmethod
    def _cluster(place: int, routes: list[int], way: Callable[[int, int, int], int]) -> str:
        others = [way(place, other, port) for other, port in enumerate(routes) if other != place]
        known = ", ".join(f"nats-route://127.0.0.1:{port}" for port in others)
        return f"cluster {{ name: club, listen: 127.0.0.1:{routes[place]}, routes: [{known}], no_advertise: true }}\n"

    @property
    def urls(self) -> tuple[str, ...]:
        """Where they are reached."""
        return tuple(f"nats://127.0.0.1:{port}" for port in self.ports)

    async def __aenter__(self) -> Self:
        await asyncio.gather(*(server.start() for server in self.servers))
        async with asyncio.timeout(READY_SECONDS):
            while not await asyncio.to_thread(self._are_ready):  # noqa: ASYNC110 - the servers tell nobody of it
                await asyncio.sleep(0.2)
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        await asyncio.gather(*(server.kill() for server in self.servers))
        self._folder.cleanup()

    async def kill(self, place: int) -> None:
        """End one at once."""
        await self.servers[place].kill()

    async def start(self, place: int) -> None:
        """Start one again: what it kept, it still has."""
        await self.servers[place].start()

    def pause(self, place: int) -> None:
        """Let one stand still."""
        self._signal(place, signal.SIGSTOP)

    def go_on(self, place: int) -> None:
        """Let it go on."""
        self._signal(place, signal.SIGCONT)

    async def leader_of(self, stream: str) -> int | None:
        """Which server leads a stream; None where none does, or the one that would tell is away."""
        return await asyncio.to_thread(self._leader_of, stream)

    def _signal(self, place: int, number: signal.Signals) -> None:
        process = self.servers[place].process
        if process is not None and process.returncode is None:
            process.send_signal(number)

    def _leader_of(self, stream: str) -> int | None:
        for port in self._monitors:
            told = _ask(port, "jsz?streams=true&accounts=true")
            for account in (told or {}).get("account_details", ()):
                for found in account.get("stream_detail", ()):
                    leader = (found.get("cluster") or {}).get("leader", "")
                    if found.get("name") == stream and leader:
                        return int(leader.removeprefix("s"))
        return None

    def _are_ready(self) -> bool:
        if len(self._monitors) == 1:
            return True
        found = [_ask(port, "jsz") for port in self._monitors]
        return all(told and told.get("meta_cluster", {}).get("leader") for told in found)


def _ask(port: int, path: str) -> dict[str, Any] | None:
    try:
        with urllib.request.urlopen(f"http://127.0.0.1:{port}/{path}", timeout=1) as answer:
            told: dict[str, Any] = json.load(answer)
            return told
    except (OSError, ValueError):
        return None
