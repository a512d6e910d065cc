"""The text port: takes every frame heard, without ever waiting, and writes its line to whoever is connected.

Every client gets the same octets, made once. They are written in rounds: what was heard meanwhile goes out in one
write to each client. A round gives way to the rest of the gateway four times a millisecond, and rests after itself in
proportion to the time it took, so that no number of clients takes more than a part of the processor.
"""

import asyncio
import contextlib
import socket
from collections.abc import Callable
from dataclasses import dataclass

import structlog

from gateway.bounded import SheddingQueue
from gateway.feed.heard_object import HeardPayload
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.giving_way import Rests, Round
from gateway.lines.client import LineClient
from gateway.lines.options import LinesOptions
from gateway.listening import Listener

RESTS = Rests(usual=4.0, while_busy=20.0, shortest=0.02)
"""A fifth of a core is the most that all clients take."""

ROUND_LINES = 250
"""How many lines one round takes, at most."""

LINE_END = b"\r\n"

SAY_SECONDS = 60.0
"""How often it is said, at most, that clients are dropped or turned away: one that comes back at once fills no log."""

_log = structlog.get_logger("lines")


@dataclass(frozen=True, slots=True)
class LinesState:
    """How the text port is, at one moment."""

    port: int | None
    """The port that it listens on; None where it does not."""

    trouble: str
    """Why it does not listen; empty where it does."""

    clients: int
    lines: int
    """How many lines were written, to however many clients."""

    shed: int
    """Lines that were dropped, since more was heard than the rounds could take."""

    dropped: int
    """Clients that did not read."""

    turned_away: int
    """Clients for whom there was no room."""


@dataclass(slots=True)
class _Tally:
    lines: int = 0
    shed: int = 0
    dropped: int = 0
    turned_away: int = 0


class LineServer:
    """The text port. `run` keeps it, `offer_heard` gives it frames, `drain` ends it well."""

    def __init__(self, options: LinesOptions | None = None, *, busy: Callable[[], bool] = lambda: False) -> None:
        """`busy` says whether frames wait to be judged: then less is written."""
        self._busy = busy
        self._options = options or LinesOptions()
        self._clients: dict[LineClient, None] = {}
        self._waiting = SheddingQueue[Frame](self._options.waiting_lines)
        self._work = asyncio.Event()
        self._leaving = asyncio.Event()
        self._ended = asyncio.Event()
        self._ended.set()
        self._tally = _Tally()
        self._said_at = float("-inf")
        self._listener = Listener(
            "the text port", self._options.host, self._options.port, retry_seconds=self._options.retry_seconds
        )

    def offer_heard(self, payload: HeardPayload) -> None:
        """A judged frame. Without clients it is forgotten at once; a damaged one has no line."""
        frame = payload.judged.heard.frame
        if not self._clients or not isinstance(frame, Frame):
            return
        self._tally.shed += self._waiting.offer(frame)
        self._work.set()

    def offer_forwarded(self, payload: HeardPayload, line: bytes, sent_at_ms: int) -> None:
        """A frame that went up. It had its line when it was heard."""

    def state(self) -> LinesState:
        """How it is now."""
        tally = self._tally
        return LinesState(
            port=self._listener.port,
            trouble=self._listener.trouble,
            clients=len(self._clients),
            lines=tally.lines,
            shed=tally.shed,
            dropped=tally.dropped,
            turned_away=tally.turned_away,
        )

    async def run(self) -> None:
        """Listen and write, until cancelled or drained. A port that is taken is tried again and again."""
        self._ended.clear()
        try:
            async with self._listener.listening(
                self._new_client, self._leaving, prepare=self._bound_buffers
            ) as listens:
                if listens:
                    async with asyncio.TaskGroup() as tasks:
                        writing = tasks.create_task(self._write_for_ever())
                        await self._leaving.wait()
                        writing.cancel()
            await self._take_leave()
        finally:
            for client in list(self._clients):
                client.abort()
            self._ended.set()

    async def drain(self, seconds: float) -> None:
        """Write what waits to those who read, and take leave of everyone, within `seconds`; `run` then returns."""
        self._leaving.set()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._ended.wait()
        for client in list(self._clients):
            client.abort()

    def _bound_buffers(self, listening: socket.socket) -> None:
        listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, self._options.kernel_octets)

    def _new_client(self) -> LineClient:
        return LineClient(self._options.client_octets, self._welcome, self._forget)

    def _welcome(self, client: LineClient) -> bool:
        if len(self._clients) >= self._options.clients or self._leaving.is_set():
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
        frames = [waiting.popleft() for _ in range(min(len(waiting), ROUND_LINES))]
        if waiting:
            self._work.set()
        self._tally.lines += len(frames)
        return b"".join([tnc2.write(frame) + LINE_END for frame in frames])

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
