"""Both ends of the way of a frame: a decoder that sends what it is told to, and a server that counts what comes out.

They are plain programs with blocking sockets. One thread reads for all of them, and for whoever reads from a gateway.
"""

import selectors
import socket
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from typing import Self

from gateway.frames import ax25, kiss, tnc2
from gateway.frames.frame import Frame

PATIENCE_SECONDS = 20.0
START_SECONDS = 90.0
"""A process that is measured has so long to start: on a busy computer it may take a while."""

HEARTBEAT_SECONDS = 20.0
READ_OCTETS = 1 << 18
KISS_MARK = kiss.FEND
STATIONS, PATHS = 500, (b"QD1AA*,WIDE2-1", b"WIDE1-1,WIDE2-1", b"QD1AA*,QD2BB*")


def line(number: int) -> bytes:
    """Monitor text of a frame: 1,500 headers in turn, and no information twice."""
    station, path = number % STATIONS, PATHS[number // STATIONS % len(PATHS)]
    return b"QA%03dX-%d>APRS,%b:!5836.%02dN/00355.%02dW>088/036under way, frame %07d" % (
        station,
        station % 15 + 1,
        path,
        station % 60,
        station * 7 % 60,
        number,
    )


def in_kiss(lines: list[bytes]) -> bytes:
    """The same frames as a KISS modem sends them, with one mark between two frames."""
    frames = (tnc2.read(one) for one in lines)
    return b"".join(kiss.encode(ax25.write(frame))[1:] for frame in frames if isinstance(frame, Frame))


def burst(first: int, frames: int) -> bytes:
    """So many frames in KISS, numbered from `first`."""
    return in_kiss([line(number) for number in range(first, first + frames)])


class Readers:
    """Reads everything that comes by many sockets, in a thread of its own, and tells what reads it."""

    def __init__(self) -> None:
        self._sockets = selectors.DefaultSelector()
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._beats: list[Callable[[], None]] = []

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()
        for key in list(self._sockets.get_map().values()):
            key.fileobj.close()  # type: ignore[union-attr] # they are sockets all
        self._sockets.close()

    def read(self, connection: socket.socket, took: Callable[[bytes], None] = lambda _: None) -> None:
        """From now on read all that comes by `connection`."""
        self._sockets.register(connection, selectors.EVENT_READ, took)

    def beat(self, say: Callable[[], None]) -> None:
        """Call this now and then."""
        self._beats.append(say)

    def visit(self, port: int, request: bytes = b"") -> None:
        """Be one that reads from a gateway at `port`, once it listens there."""
        until = time.monotonic() + PATIENCE_SECONDS
        while True:
            try:
                visitor = socket.create_connection(("127.0.0.1", port))
                break
            except ConnectionRefusedError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.05)
        visitor.sendall(request)
        self.read(visitor)

    def _read(self) -> None:
        beaten = time.monotonic()
        while not self._ended.is_set():
            for key, _ in self._sockets.select(0.05):
                connection: socket.socket = key.fileobj  # type: ignore[assignment] # they are sockets all
                try:
                    octets = connection.recv(READ_OCTETS)
                except OSError:
                    octets = b""
                if octets:
                    key.data(octets)
                else:
                    self._sockets.unregister(connection)
                    connection.close()
            if time.monotonic() - beaten > HEARTBEAT_SECONDS:
                beaten = time.monotonic()
                for say in self._beats:
                    say()


class Ends:
    """A decoder and a server for one process under test, which calls both. The server takes any login."""

    def __init__(self, readers: Readers | None, mark: bytes = b"\n") -> None:
        """`mark` ends each piece that comes out. Without `readers`, whoever sends reads what comes out."""
        self.mark = mark
        self.received = 0 if mark != KISS_MARK else -1  # a relay passes on the first mark, too
        """Pieces that came out."""

        self._readers = readers
        self._decoder = socket.create_server(("127.0.0.1", 0))
        self._server = socket.create_server(("127.0.0.1", 0))
        self._source: socket.socket | None = None
        self._sink: socket.socket | None = None
        self._logs_in = mark == b"\n"
        self.decoder_port: int = self._decoder.getsockname()[1]
        self.server_port: int = self._server.getsockname()[1]

    def wait_until_connected(self) -> None:
        """Let the process under test in at both ends."""
        for listening in (self._decoder, self._server):
            listening.settimeout(START_SECONDS)
        self._source, _ = self._decoder.accept()
        self._sink, _ = self._server.accept()
        self._source.settimeout(PATIENCE_SECONDS)
        self._source.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        if self._logs_in:
            self._sink.sendall(b"# bench 1.0\r\n")
            login = self._sink.recv(4096).split()
            self._sink.sendall(b"# logresp %b verified, server BENCH\r\n" % login[1])
        self._source.sendall(KISS_MARK)  # what stands before the first is the tail of a frame
        if self._readers is not None:
            self._readers.beat(self._say_something)
            self._readers.read(self._sink, self._count)
        self._decoder.close()
        self._server.close()

    def send(self, octets: bytes) -> None:
        """Have the decoder say this. Blocks while nobody reads it."""
        assert self._source is not None
        self._source.sendall(octets)

    def flood(self, octets: bytes, seconds: float) -> int:
        """Have the server say this again and again, as fast as it is taken; how many octets were taken."""
        assert self._sink is not None
        self._sink.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._sink.settimeout(0.1)
        until, taken = time.monotonic() + seconds, 0
        while time.monotonic() < until:
            with suppress(TimeoutError):
                taken += self._sink.send(octets)
        return taken

    def wait_for(self, received: int, seconds: float = PATIENCE_SECONDS) -> bool:
        """Wait until so many pieces came out; whether they did."""
        until = time.monotonic() + seconds
        while self.received < received and time.monotonic() < until:
            time.sleep(0.0005)
        return self.received >= received

    def close(self) -> None:
        """Close all but what `readers` read."""
        for end in (self._decoder, self._server, self._source, self._sink if self._readers is None else None):
            if end is not None:
                end.close()

    def receive_until(self, received: int) -> None:
        """Read until so many pieces came out. For ends without readers."""
        assert self._sink is not None
        self._sink.settimeout(PATIENCE_SECONDS)
        while self.received < received:
            self._count(self._sink.recv(READ_OCTETS))

    def _count(self, octets: bytes) -> None:
        self.received += octets.count(self.mark)

    def _say_something(self) -> None:
        if self._sink is not None:
            with suppress(OSError):  # it has left
                self._sink.sendall(b"# bench\r\n")
