"""The text port: takes every frame heard, without ever waiting, and writes its line to whoever is connected.

Every client gets the same octets, made once. They are written in rounds: what was heard meanwhile goes out in one
write to each client. A round gives way to the rest of the gateway four times a millisecond, and rests after itself in
proportion to the time it took, so that no number of clients takes more than a part of the processor.
"""

import asyncio
import contextlib
import os
import socket
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from time import perf_counter, thread_time

import structlog

from gateway.feed.heard_object import HeardPayload
from gateway.frames import tnc2
from gateway.frames.frame import Frame
from gateway.lines.client import LineClient
from gateway.lines.options import LinesOptions

SLICE_SECONDS = 0.00025
"""How long a round may keep the event loop to itself."""

REST = 4.0
"""How many times as long as a round took the next one is put off: a fifth of a core is the most that all take."""

BUSY_REST = 20.0
"""The same while frames wait to be judged: what readers do not get then is shed, and counted."""

SHORTEST_REST_SECONDS = 0.02
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
        self._waiting: deque[Frame] = deque()
        self._work = asyncio.Event()
        self._leaving = asyncio.Event()
        self._ended = asyncio.Event()
        self._ended.set()
        self._tally = _Tally()
        self._said_at = float("-inf")
        self._port: int | None = None
        self._trouble = "it was not started yet"

    def offer_heard(self, payload: HeardPayload) -> None:
        """A judged frame. Without clients it is forgotten at once; a damaged one has no line."""
        frame = payload.judged.heard.frame
        if not self._clients or not isinstance(frame, Frame):
            return
        if len(self._waiting) >= self._options.waiting_lines:
            self._waiting.popleft()
            self._tally.shed += 1
        self._waiting.append(frame)
        self._work.set()

    def offer_forwarded(self, payload: HeardPayload, line: bytes, sent_at_ms: int) -> None:
        """A frame that went up. It had its line when it was heard."""

    def state(self) -> LinesState:
        """How it is now."""
        tally = self._tally
        return LinesState(
            port=self._port,
            trouble=self._trouble,
            clients=len(self._clients),
            lines=tally.lines,
            shed=tally.shed,
            dropped=tally.dropped,
            turned_away=tally.turned_away,
        )

    async def run(self) -> None:
        """Listen and write, until cancelled or drained. A port that is taken is tried again and again."""
        server = None
        self._ended.clear()
        try:
            server = await self._listen()
            if server is not None:
                async with asyncio.TaskGroup() as tasks:
                    writing = tasks.create_task(self._write_for_ever())
                    await self._leaving.wait()
                    writing.cancel()
                server.close()
                await self._take_leave()
        finally:
            if server is not None:
                server.close()
            for client in list(self._clients):
                client.abort()
            self._port, self._trouble = None, "the gateway stops"
            self._ended.set()

    async def drain(self, seconds: float) -> None:
        """Write what waits to those who read, and take leave of everyone, within `seconds`; `run` then returns."""
        self._leaving.set()
        with contextlib.suppress(TimeoutError):
            async with asyncio.timeout(seconds):
                await self._ended.wait()
        for client in list(self._clients):
            client.abort()

    async def _listen(self) -> asyncio.Server | None:
        """Listen, as soon as it can be; None where it is time to leave before that."""
        options = self._options
        loop = asyncio.get_running_loop()
        while not self._leaving.is_set():
            try:
                server = await loop.create_server(self._new_client, options.host, options.port, start_serving=False)
            except (OSError, UnicodeError) as error:
                why = _why(error)
                if why != self._trouble:
                    _log.error("the text port does not listen", host=options.host, port=options.port, why=why)
                self._trouble = why
                with contextlib.suppress(TimeoutError):
                    async with asyncio.timeout(options.retry_seconds):
                        await self._leaving.wait()
                continue
            for listening in server.sockets:
                # Connections take this over from the socket that they came in by.
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, options.kernel_octets)
            await server.start_serving()
            self._port, self._trouble = server.sockets[0].getsockname()[1], ""
            _log.info("the text port listens", host=options.host, port=self._port)
            return server
        return None

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
            busy = await self._write_to_all(self._take())
            await asyncio.sleep(max(SHORTEST_REST_SECONDS, (BUSY_REST if self._busy() else REST) * busy))

    async def _write_to_all(self, lines: bytes) -> float:
        """One round. Gives back how many seconds of the processor it took."""
        busy = 0.0
        began, began_busy = perf_counter(), thread_time()
        for client in list(self._clients):
            self._write(client, lines)
            if perf_counter() - began >= SLICE_SECONDS:
                busy += thread_time() - began_busy
                await asyncio.sleep(0)
                began, began_busy = perf_counter(), thread_time()
        return busy + thread_time() - began_busy

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


def _why(error: OSError | UnicodeError) -> str:
    """What the system says of it; asyncio puts the address into the text, which is said beside it."""
    if isinstance(error, UnicodeError | socket.gaierror) or not error.errno:
        return "this is no address of this computer"
    return os.strerror(error.errno)
