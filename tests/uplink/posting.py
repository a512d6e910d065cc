"""An uplink to stand-in servers for tests, with a clock, that remembers what became of what it was offered."""

import asyncio
import contextlib
from collections.abc import AsyncIterator, Callable, Sequence
from dataclasses import dataclass

from demo.network_server import NetworkServer
from gateway.frames.heard import Run
from gateway.groundwork.back_off import Pauses
from gateway.uplink.client import Uplink
from gateway.uplink.outbox import Outcome
from gateway.uplink.state import UplinkOptions, UplinkPhase, UplinkState
from tests.options import uplink_options

CALLSIGN = "QX1GAT-10"
PASSCODE = 21161
SECONDS = 5.0
"""How long a test waits for what should come at once."""


@dataclass(frozen=True, slots=True)
class Ticket:
    """A line that is to go up, with what a test knows it by."""

    line: bytes
    since_ms: int
    name: object


class Post:
    """An uplink with a clock, that remembers what became of what it was offered."""

    def __init__(self, options: UplinkOptions) -> None:
        self.ends: list[tuple[Outcome, object]] = []
        self.states: list[UplinkState] = []
        self.run = Run()
        self._changed = asyncio.Event()
        self.uplink: Uplink[Ticket] = Uplink(options, self.run, on_outcome=self._on_outcome, on_change=self._on_change)

    def clock(self) -> int:
        return self.run.now().elapsed_ms

    def offer(self, *names: object, age_ms: int = 0, padding: int = 0) -> None:
        since_ms = self.clock() - age_ms
        self.offer_tickets([Ticket(a_line(name, padding), since_ms, name) for name in names])

    def offer_tickets(self, tickets: Sequence[Ticket]) -> None:
        self.ends += [(Outcome.SENT, ticket.name) for ticket in self.uplink.offer(tickets)]
        state = self.uplink.state()
        assert state.outcomes == {end: len(self.came_to(end)) for end in Outcome}

    def came_to(self, outcome: Outcome) -> list[object]:
        return [name for end, name in self.ends if end is outcome]

    @property
    def state(self) -> UplinkState:
        return self.uplink.state()

    @property
    def phases(self) -> list[UplinkPhase]:
        return [state.phase for state in self.states]

    async def until(self, condition: Callable[[], bool]) -> None:
        async with asyncio.timeout(SECONDS):
            while not condition():
                self._changed.clear()
                await self._changed.wait()

    async def until_phase(self, phase: UplinkPhase) -> None:
        await self.until(lambda: self.state.phase is phase)

    async def until_it_failed(self) -> None:
        await self.until(lambda: UplinkPhase.WAITING in self.phases)

    async def until_counted(self, condition: Callable[[], bool]) -> None:
        """For what an uplink counts without telling anybody."""
        async with asyncio.timeout(SECONDS):
            while not condition():  # noqa: ASYNC110 - see above
                await asyncio.sleep(0.002)

    def _on_outcome(self, outcome: Outcome, tickets: Sequence[Ticket]) -> None:
        self.ends += [(outcome, ticket.name) for ticket in tickets]
        state = self.uplink.state()
        assert state.offered == sum(state.outcomes.values()) + state.waiting
        self._changed.set()

    def _on_change(self, state: UplinkState) -> None:
        self.states.append(state)
        self._changed.set()


def a_line(name: object, padding: int = 0) -> bytes:
    return f"QA1BCD-9>APRS,WIDE1-1*,qAO,{CALLSIGN}:>number {name}{' ' * padding}\r\n".encode("ascii")


@contextlib.asynccontextmanager
async def a_post(  # noqa: PLR0913 - one knob for each thing that a test turns
    *servers: NetworkServer,
    passcode: int | None = PASSCODE,
    freshness_ms: int = 10_000,
    silence_ms: int = 90_000,
    unverified_ms: int = 120_000,
    steady: float = 30.0,
    login_ms: int = 15_000,
    queue_bytes: int = 256 * 1024,
    send_buffer_bytes: int = 16 * 1024,
) -> AsyncIterator[Post]:
    post = Post(
        uplink_options(
            *((server.host, server.port) for server in servers),
            passcode=passcode,
            freshness_ms=freshness_ms,
            silence_ms=silence_ms,
            unverified_ms=unverified_ms,
            pauses=Pauses(0.01, 0.6, spread=0, steady=steady),
            login_ms=login_ms,
            queue_bytes=queue_bytes,
            send_buffer_bytes=send_buffer_bytes,
        )
    )
    async with asyncio.TaskGroup() as tasks:
        running = tasks.create_task(post.uplink.run())
        try:
            yield post
        finally:
            running.cancel()
