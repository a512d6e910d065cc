"""The text port: takes every frame heard, without ever waiting, and writes its line to whoever is connected.

Every client gets the same octets, made once. They are written in rounds: what was heard meanwhile goes out in one
write to each client. A round gives way to the rest of the gateway four times a millisecond, and rests after itself in
proportion to the time it took, so that no number of clients takes more than a part of the processor.
"""

import asyncio
import socket
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import structlog

from gateway.feed.heard_object import HeardPayload
from gateway.feed.sink import ListeningSink
from gateway.groundwork.bounded import SheddingQueue
from gateway.groundwork.giving_way import Rests, Round
from gateway.groundwork.kept_tasks import kept_tasks
from gateway.groundwork.listening import Listener
from gateway.groundwork.open_files import share_of_files
from gateway.groundwork.part import Figure, PartKind, counted, figures_of, gauge, shed
from gateway.lines.client import LineClient
from gateway.lines.options import SHARE_OF_FILES, LinesOptions

RESTS = Rests(usual=4.0, while_busy=20.0, shortest=0.02)
"""A fifth of a core is the most that all clients take."""

ROUND_LINES = 250
LINE_END = b"\r\n"

SAY_SECONDS = 60.0
"""How often it is said, at most, that clients are dropped or turned away: one that comes back at once fills no log."""

_log = structlog.get_logger("lines")


@dataclass(slots=True)
class _LinesTally:
    shed: int = 0
    lines: int = counted("Lines that were written, to however many clients.")
    dropped: int = counted("Clients dropped, as they did not read.", "clients_dropped")
    turned_away: int = counted("Clients for whom there was no room.", "clients_turned_away")


class LineServer(ListeningSink):
    """The text port. It answers for itself: see `part.Answers`."""

    def __init__(
        self, options: LinesOptions, time_ms: Callable[[], int], *, busy: Callable[[], bool] = lambda: False
    ) -> None:
        """`time_ms` is the clock, in Unix milliseconds. While frames wait to be judged (`busy`) less is written."""
        retry_seconds = options.retry_seconds
        listener = Listener("the text port", options.host, options.port, time_ms, retry_seconds=retry_seconds)
        super().__init__(PartKind.LINES, listener)
        self._busy = busy
        self._options = options
        self._most_clients = share_of_files(SHARE_OF_FILES, options.clients)
        self._clients: dict[LineClient, None] = {}
        self._waiting = SheddingQueue[HeardPayload](options.waiting_lines)
        self._work = asyncio.Event()
        self._tally = _LinesTally()
        self._said_at = float("-inf")

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Take frames. Without clients they are forgotten at once; a damaged one has no line."""
        if not self._clients:
            return
        for payload in frames:
            if payload.judged.innermost is not None:
                self._tally.shed += self._waiting.offer(payload)
        self._work.set()

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        clients = gauge("clients", len(self._clients), "Clients of the text port.")
        return [*shed({"lines": self._tally.shed}), clients, *figures_of(self._tally)]

    async def run(self) -> None:
        """Listen and write, until cancelled or drained. A port that is taken is tried again and again."""
        self._ended.clear()
        try:
            async with self._listener.listening(
                self._new_client, self._leaving, prepare=self._bound_buffers
            ) as listens:
                if listens:
                    async with kept_tasks() as tasks:
                        tasks.keep(self._write_for_ever(), "lines: write")
                        await self._leaving.wait()
            await self._take_leave()
        finally:
            for client in list(self._clients):
                client.abort()
            self._ended.set()

    async def drain(self, seconds: float) -> None:
        """Write what waits to those who read, and take leave of everyone, within `seconds`; `run` then returns."""
        await super().drain(seconds)
        for client in list(self._clients):
            client.abort()

    def _bound_buffers(self, listening: socket.socket) -> None:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, self._options.kernel_octets)

    def _new_client(self) -> LineClient:
        return LineClient(self._options.client_octets, self._welcome, self._forget)

    def _welcome(self, client: LineClient) -> bool:
        if len(self._clients) >= self._most_clients or self._leaving.is_set():
            self._tally.turned_away += 1
            self._say("the text port has no room for one more")
            return False
        self._clients[client] = None
        return True

    def _forget(self, client: LineClient) -> None:
        self._clients.pop(client, None)

    def _say(self, what: str) -> None:
        now = asyncio.get_running_loop().time()
        if now - self._said_at >= SAY_SECONDS:
            self._said_at = now
            tally = self._tally
            _log.warning(what, clients=len(self._clients), dropped=tally.dropped, turned_away=tally.turned_away)

    async def _write_for_ever(self) -> None:
        while True:
            await self._work.wait()
            self._work.clear()
            took = await self._write_to_all(self._take())
            await asyncio.sleep(RESTS.after(took, busy=self._busy()))

    async def _write_to_all(self, lines: bytes) -> float:
        """One round. Gives back how many seconds of the processor it took."""
        this_round = Round()
        for client in list(self._clients):
            self._write(client, lines)
            await this_round.give_way()
        return this_round.took

    def _take(self) -> bytes:
        """The lines of the next round."""
        waiting = self._waiting
        payloads = [waiting.popleft() for _ in range(min(len(waiting), ROUND_LINES))]
        if waiting:
            self._work.set()
        self._tally.lines += len(payloads)
        return b"".join([payload.monitor_text() + LINE_END for payload in payloads])

    def _write(self, client: LineClient, lines: bytes) -> None:
        if not client.write(lines):
            client.abort()
            self._tally.dropped += 1
            self._say("a client of the text port does not read: it is dropped")

    async def _take_leave(self) -> None:
        lines = b"".join([self._take() for _ in range(0, len(self._waiting), ROUND_LINES)])
        for client in list(self._clients):
            self._write(client, lines)
            client.close()
        for client in list(self._clients):
            await client.ended.wait()
