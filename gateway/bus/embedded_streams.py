"""What the embedded broker reads from its clients and writes to them, bounded for each and as a whole (extra: broker).

The broker starts a task for each message and lets it wait until the client reads: behind one that stopped, they pile up
without end, each with its message. So none waits here, and what clients have not read is held to a size. It also reads
a packet of any size whole: so one that is too long ends its connection before it is in memory.
"""

import asyncio
from typing import TYPE_CHECKING

from amqtt.adapters import StreamReaderAdapter, StreamWriterAdapter  # type: ignore[import-untyped] # without types
from amqtt.errors import NoDataError  # type: ignore[import-untyped] # as above

from gateway.bus.packet_size import MAXIMUM_PACKET_OCTETS
from gateway.groundwork.open_files import share_of_files

if TYPE_CHECKING:
    from collections.abc import Callable

MOST_CLIENTS = 100
"""At a time: past it the one that came first goes, who has not logged in before who has, but never the gateway."""

LOGIN_SECONDS, LOGINS_AT_ONCE = 0.05, 20
"""One login in so long, after some that may come together: each takes the event loop for milliseconds."""

MOST_UNDER_WAY = 100
"""Messages that the broker has read and not yet handed on: past it nothing is read but what the gateway says."""

BEHIND_SECONDS = 0.005
"""How soon it is looked again whether it has caught up."""

MOST_LOOKS = 20
"""How often: then a client is read all the same, a tenth of a second later than it would have been."""

MAXIMUM_UNREAD_OCTETS = 16 * 1024 * 1024
"""What may wait for one client: a client that is so far behind reads no longer.

Whoever subscribes gets all that is retained at once: 5,000 stations of 2 kB are 10 MB.
"""

MAXIMUM_UNREAD_IN_ALL = 32 * 1024 * 1024
"""What may wait for all of them: past it, the one that is farthest behind goes."""


SHARE_OF_FILES = 1 / 4
"""Of the files that the process may have open, so much may be connections here: fewer than `MOST_CLIENTS` then."""


class Clients:
    """The connections that there are, the oldest first."""

    def __init__(self) -> None:
        self.own_ports: set[int] = set()
        """The gateway's own ends."""

        self.known_ports: set[int] = set()
        """The ends of all who have logged in."""

        self.under_way: Callable[[], int] = int
        """How many messages are; whoever has a broker sets it."""

        self._transports: dict[asyncio.WriteTransport, int] = {}
        """With the port of each at its own end; the gateway's, which have none, are numbered from -1 down."""

        self._own_ports_so_far = 0
        self._door = asyncio.Lock()
        self._next_login = float("-inf")

    def enter(self, writer: asyncio.StreamWriter) -> None:
        """One more has come."""
        if len(self._transports) >= share_of_files(SHARE_OF_FILES, MOST_CLIENTS):
            for stay in (self.known_ports, self.own_ports):
                oldest = next((each for each, port in self._transports.items() if port not in stay), None)
                if oldest is not None:
                    self._leave(oldest)
                    break
        self._transports[writer.transport] = writer.get_extra_info("peername", ("", 0))[1]

    def enter_own(self, writer: asyncio.StreamWriter) -> None:
        """The gateway has come by its own door: it never waits, and nobody goes for it."""
        self._own_ports_so_far += 1
        port = self._transports[writer.transport] = -self._own_ports_so_far
        self.own_ports.add(port)
        self.known_ports.add(port)

    def port_of(self, transport: asyncio.WriteTransport) -> int:
        """The port at its own end."""
        return self._transports.get(transport, 0)

    async def until_let_in(self, writer: asyncio.StreamWriter) -> bool:
        """Wait until this one may log in; whether it is still there."""
        async with self._door:
            now = asyncio.get_running_loop().time()
            self._next_login = max(self._next_login, now - (LOGINS_AT_ONCE - 1) * LOGIN_SECONDS)
            if writer.transport.is_closing():
                return False
            if self._next_login > now:
                await asyncio.sleep(self._next_login - now)
            self._next_login += LOGIN_SECONDS
        return not writer.transport.is_closing()

    def leave(self, writer: asyncio.StreamWriter) -> None:
        """It has gone."""
        self._forget(writer.transport)
        writer.close()

    def drop_all(self) -> None:
        """End every connection now."""
        for transport in list(self._transports):
            self._leave(transport)

    async def until_heard(self, transport: asyncio.WriteTransport) -> None:
        """Wait until it is this one's turn to be read."""
        own = self.own_ports
        await asyncio.sleep(0)  # what was read before has its turn first: what is there already is read without a pause
        if self._transports.get(transport) in own:
            return
        # What is under way may wait for the very word that is to be read, as an answer to a message of quality 1.
        for _ in range(MOST_LOOKS):
            if self.under_way() <= MOST_UNDER_WAY:
                return
            await asyncio.sleep(BEHIND_SECONDS)

    def make_room(self, octets: int) -> None:
        """So much more is to wait: let go of who is farthest behind, where it would be too much for all."""
        waiting = {transport: transport.get_write_buffer_size() for transport in self._transports}
        if waiting and sum(waiting.values()) + octets > MAXIMUM_UNREAD_IN_ALL:
            self._leave(max(waiting, key=lambda transport: waiting[transport]))

    def _leave(self, transport: asyncio.WriteTransport) -> None:
        self._forget(transport)
        transport.abort()

    def _forget(self, transport: asyncio.WriteTransport) -> None:
        port = self._transports.pop(transport, -1)
        self.own_ports.discard(port)
        self.known_ports.discard(port)


class BoundedReader(StreamReaderAdapter):  # type: ignore[misc] # it comes without types
    """Reads no packet that is too long, and none while the broker is behind."""

    def __init__(self, reader: asyncio.StreamReader, transport: asyncio.WriteTransport, clients: Clients) -> None:
        super().__init__(reader)
        self._transport = transport
        self._clients = clients

    async def read(self, n: int = -1) -> bytes:
        """So many octets. Raises `NoDataError` where there are no more, or nobody should send so many."""
        if n > MAXIMUM_PACKET_OCTETS:
            self._transport.abort()
            raise NoDataError(f"more than {MAXIMUM_PACKET_OCTETS} octets")
        await self._clients.until_heard(self._transport)
        octets: bytes = await super().read(n)
        return octets


class BoundedWriter(StreamWriterAdapter):  # type: ignore[misc] # as above
    """Lets go of a client that stopped reading."""

    def __init__(self, writer: asyncio.StreamWriter, clients: Clients) -> None:
        super().__init__(writer)
        self._transport = writer.transport
        self._clients = clients

    def write(self, data: bytes) -> None:
        """Hand over octets for the client, or end its connection where too many wait already."""
        if self._transport.is_closing():
            return
        waiting = self._transport.get_write_buffer_size()
        if waiting + len(data) > MAXIMUM_UNREAD_OCTETS:
            self._transport.abort()
            return
        if waiting:
            self._clients.make_room(len(data))
        super().write(data)

    async def drain(self) -> None:
        """Wait for nobody."""

    def get_peer_info(self) -> tuple[str, int]:
        """Who it is, as the broker asks: the gateway's own connection has neither address nor port."""
        return "", self._clients.port_of(self._transport)
