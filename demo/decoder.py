"""A simulated decoder: serves the Wrackholm Bay Regatta as a KISS stream over TCP, to any number of clients.

    python -m demo.decoder --port 7581

The race begins when the first client is there; who comes later hears it from then on.
"""

import argparse
import asyncio
import contextlib
import signal
import socket
import sys
from collections.abc import Iterator
from datetime import UTC, datetime
from types import TracebackType
from typing import Self

from demo.regatta import OnAir, frames

HOST = "127.0.0.1"
PORT = 7581

MOST_UNSENT_OCTETS = 64 * 1024
"""A client that reads so much too slowly is left."""


class SimulatedDecoder:
    """Plays the race at `pace` times its own speed, on `port` or, where that is 0, on any that is free."""

    def __init__(
        self, host: str = HOST, port: int = 0, pace: float = 1.0, *, draw: int = 1, start: datetime | None = None
    ) -> None:
        """`start` is the time of the first gun, for reports that tell theirs: if None, when the first client came."""
        self.host = host
        self.port = port
        self.frames_sent = 0
        """Transmissions that were sent to the clients, the damaged ones among them."""

        self._pace = pace
        self._draw = draw
        self._start = start
        self._clients: set[asyncio.StreamWriter] = set()
        self._serving: set[asyncio.Task[None]] = set()
        self._first_client = asyncio.Event()

    async def __aenter__(self) -> Self:
        """Listen. Raises `OSError` where the port is taken."""
        self._server = await asyncio.start_server(self._serve, self.host, self.port)
        for listening in self._server.sockets:
            # Inherited by each connection: else the system would keep megabytes for one who does not read.
            listening.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, MOST_UNSENT_OCTETS)
        self.port = self._server.sockets[0].getsockname()[1]
        self._playing = asyncio.create_task(self._play())
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Leave all clients and end the race."""
        self._server.close()
        self._playing.cancel()
        for client in self._clients:
            client.transport.abort()
        await asyncio.wait([self._playing, *self._serving])
        await self._server.wait_closed()

    def fall_silent(self) -> None:
        """Nothing more is heard; whoever listens stays."""
        self._playing.cancel()

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None  # noqa: S101 - every coroutine runs in one
        self._serving.add(task)
        self._clients.add(writer)
        self._first_client.set()
        try:
            with contextlib.suppress(OSError):
                while await reader.read(4096):
                    pass  # what a host tells its modem is of no use here
        finally:
            self._clients.discard(writer)
            self._serving.discard(task)
            writer.transport.abort()

    async def _play(self) -> None:
        await self._first_client.wait()
        loop = asyncio.get_running_loop()
        began = loop.time()
        for on_air in self._race():
            await asyncio.sleep(max(began + on_air.seconds / self._pace - loop.time(), 0))
            self._send(on_air.stream)

    def _race(self) -> Iterator[OnAir]:
        return frames(self._draw, self._start or datetime.now(UTC))

    def _send(self, stream: bytes) -> None:
        """Give `stream` to all clients. While there is none nobody hears it, and it does not count."""
        self.frames_sent += bool(self._clients)
        for client in list(self._clients):
            client.write(stream)
            if client.transport.get_write_buffer_size() > MOST_UNSENT_OCTETS:
                client.transport.abort()
                self._clients.discard(client)


async def serve(host: str, port: int, pace: float) -> None:
    """Play until the process is told to stop. A taken port is said, and another one chosen."""
    stopped = asyncio.Event()
    for number in (signal.SIGINT, signal.SIGTERM):
        asyncio.get_running_loop().add_signal_handler(number, stopped.set)
    async with contextlib.AsyncExitStack() as stack:
        try:
            decoder = await stack.enter_async_context(SimulatedDecoder(host, port, pace))
        except OSError as error:
            print(f"Port {port} of {host} cannot be had ({error.strerror}); another one is chosen.", file=sys.stderr)
            decoder = await stack.enter_async_context(SimulatedDecoder(host, 0, pace))
        print(f"The regatta is on the air at kiss+tcp://{decoder.host}:{decoder.port}", flush=True)
        await stopped.wait()
    print(f"{decoder.frames_sent} transmissions were sent.")


def main() -> None:
    """Read the command line and play."""
    parser = argparse.ArgumentParser(
        prog="demo.decoder", description="Plays the Wrackholm Bay Regatta as a KISS stream."
    )
    parser.add_argument("--host", default=HOST, help="the address to listen on (default: %(default)s)")
    parser.add_argument("--port", type=int, default=PORT, help="the port to listen on; 0: any (default: %(default)s)")
    parser.add_argument("--pace", type=_pace, default=1.0, help="how many times as fast as it is (default: 1)")
    arguments = parser.parse_args()
    asyncio.run(serve(arguments.host, arguments.port, arguments.pace))


def _pace(text: str) -> float:
    pace = float(text)
    if not 0 < pace <= 1000:  # noqa: PLR2004 - beyond that it is a flood
        raise argparse.ArgumentTypeError("a number above 0, up to 1000")
    return pace


if __name__ == "__main__":
    main()
