"""The streams of server-sent events: every open one gets what it has not had, and none makes anybody wait.

All streams read from one `EventLog`, each with a cursor of its own; a stream itself holds no more than one chunk. They
are served in rounds: what happened meanwhile goes out in one write to each, and streams that are equally far get the
very same octets, made once. A round gives way to the rest of the gateway four times a millisecond, and rests after
itself in proportion to the time it took, so that no number of streams takes more than a part of the processor.

A stream whose client reads too slowly falls behind, and is told how many events it missed once the log has moved on;
one whose client does not read at all is ended.
"""

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field

import structlog

from gateway.groundwork.bounded import BoundedMapping
from gateway.groundwork.giving_way import Rests, Round
from gateway.groundwork.part import counted
from gateway.groundwork.waiting import happens_within
from gateway.web.event_log import EventLog, Start
from gateway.web.options import WebLimits, WebPace

EVENTS_AT_A_TIME = 4
"""How many are encoded before that is looked at."""

RESTS = Rests(usual=2.0, while_busy=20.0, shortest=0.05)
"""A third of a core is the most that all streams take. What they do not get they miss, and are told so."""

REMEMBERED_CHUNKS = 16

PRELUDE = b"retry: 2000\n\n"
"""How soon a client comes back whose stream was cut off, in milliseconds."""

HEARTBEAT = b":\n\n"

_log = structlog.get_logger("web")


@dataclass(slots=True, eq=False)
class Stream:
    """One client's stream."""

    transport: asyncio.Transport
    cursor: int
    chunked: bool
    """Whether what is written must be framed as chunks (RFC 9112 section 7.1)."""

    ended: asyncio.Event = field(default_factory=asyncio.Event)
    """Set where we end it."""

    stuck_since: float | None = None
    """Since when the kernel has not taken all of the last chunk, in the event loop's time."""

    def write(self, chunk: "_Chunk") -> None:
        """Hand over a chunk."""
        self.transport.write(chunk.framed if self.chunked else chunk.plain)


@dataclass(slots=True)
class StreamTally:
    """What became of the streams so far."""

    opened: int = counted("Event streams that began.", "event_streams_opened")
    dropped: int = counted("Event streams ended, as their clients did not read.", "event_streams_dropped")
    turned_away: int = counted("Clients without room for an event stream.", "event_streams_turned_away")
    missed: int = 0
    """Events that streams did not get, as they came too late or read too slowly: each counts for every stream."""


class _Chunk:
    """The same octets for streams in either form."""

    __slots__ = ("cursor", "framed", "missed", "plain")

    def __init__(self, plain: bytes, cursor: int = 0, missed: int = 0) -> None:
        self.plain = plain
        self.framed = b"%x\r\n%b\r\n" % (len(plain), plain)
        self.cursor = cursor
        self.missed = missed


class EventStreams:
    """All open streams. `run` serves them, `wake` says that there is something new."""

    def __init__(self, log: EventLog, limits: WebLimits, pace: WebPace, *, room: int, busy: Callable[[], bool]) -> None:
        """At most `room` of them at once. `busy` says whether frames wait to be judged: then less is written."""
        self.tally = StreamTally()
        self._log = log
        self._chunk_octets = limits.chunk_octets
        self._room = room
        self._busy = busy
        self._pace = pace
        self._streams: dict[Stream, None] = {}
        self._chunks = BoundedMapping[int, _Chunk](REMEMBERED_CHUNKS)
        self._heartbeat = _Chunk(HEARTBEAT)
        self._work = asyncio.Event()

    def __len__(self) -> int:
        return len(self._streams)

    @property
    def has_room(self) -> bool:
        """Whether one more may join."""
        return len(self._streams) < self._room

    def wake(self) -> None:
        """Something was recorded."""
        if self._streams:
            self._work.set()

    def join(self, transport: asyncio.Transport, start: Start, *, chunked: bool) -> Stream:
        """A stream whose head has been written to `transport`. Nothing but streams may write to it from now on."""
        stream = Stream(transport, start.cursor, chunked)
        stream.write(_Chunk(PRELUDE + start.words))
        self._streams[stream] = None
        self.tally.opened += 1
        self._work.set()
        return stream

    def leave(self, stream: Stream) -> None:
        """It is over."""
        self._streams.pop(stream, None)

    async def run(self) -> None:
        """Serve them until cancelled."""
        while True:
            had_news = await happens_within(self._work, self._pace.heartbeat)
            self._work.clear()
            took = await self._serve_all(heartbeat=not had_news)
            await asyncio.sleep(RESTS.after(took, busy=self._busy()))

    async def finish(self) -> None:
        """Give every stream what it can take now, and end them all."""
        await self._serve_all(heartbeat=False)
        for stream in self._streams:
            stream.ended.set()
            if stream.transport.get_write_buffer_size():
                stream.transport.abort()

    async def _serve_all(self, *, heartbeat: bool) -> float:
        """One round. Gives back how many seconds of the processor it took."""
        this_round = Round()
        for stream in list(self._streams):
            if stream.transport.get_write_buffer_size():
                self._wait_for(stream)
            elif stream.cursor < self._log.newest:
                stream.stuck_since = None
                await self._serve(stream, this_round)
            elif heartbeat and not stream.transport.is_closing():
                stream.stuck_since = None
                stream.write(self._heartbeat)
            await this_round.give_way()
        self._chunks.clear()
        return this_round.took

    async def _serve(self, stream: Stream, this_round: Round) -> None:
        """Give a stream its next chunk."""
        chunk = self._chunks.get(stream.cursor)
        if chunk is None:
            chunk = await self._make_chunk(stream.cursor, this_round)
        if stream.transport.is_closing():
            return
        stream.cursor = chunk.cursor
        self.tally.missed += chunk.missed
        if chunk.plain:
            stream.write(chunk)
        if stream.cursor < self._log.newest:
            self._work.set()

    def _wait_for(self, stream: Stream) -> None:
        """A stream whose client has not read all of the last chunk: look again soon, but not for ever."""
        if stream.transport.is_closing():
            return
        now = asyncio.get_running_loop().time()
        self._work.set()
        if stream.stuck_since is None:
            stream.stuck_since = now
        elif now - stream.stuck_since >= self._pace.patience:
            stream.transport.abort()
            self.tally.dropped += 1
            _log.warning("a client of the event stream does not read: it is dropped", dropped=self.tally.dropped)

    async def _make_chunk(self, cursor: int, this_round: Round) -> _Chunk:
        """What comes after `cursor`. The log may move on meanwhile: then some of it is told to be missed."""
        began_at = cursor
        pieces: list[bytes] = []
        length = missed = 0
        while cursor < self._log.newest and length < self._chunk_octets:
            piece = self._log.read(cursor, self._chunk_octets - length, EVENTS_AT_A_TIME)
            pieces.append(piece.octets)
            length += len(piece.octets)
            cursor = piece.cursor
            missed += piece.missed
            await this_round.give_way()
        chunk = self._chunks[began_at] = _Chunk(b"".join(pieces), cursor, missed)
        return chunk
