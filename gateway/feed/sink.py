"""A sink: who is told of everything that the house should see, and never makes anyone wait."""

import asyncio
from collections.abc import Sequence

from gateway.feed.heard_object import HeardPayload
from gateway.frames.plain import PlainObject
from gateway.groundwork.listening import Listener
from gateway.groundwork.part import Answers, Part, PartKind
from gateway.groundwork.waiting import happens_within


class Sink:
    """Told of what is heard, sent and raised, and of the health. What a sink does not carry it leaves as it is here.

    Offers are for the event loop's own thread. They return at once; what a sink cannot take it sheds, and counts.
    """

    def offer(self, frames: Sequence[HeardPayload]) -> None:
        """Take what one read of one receiver brought, heard and judged; the station memory knows it already."""

    def offer_forwarded(self, frames: Sequence[HeardPayload], sent_at_ms: int) -> None:
        """Take frames whose lines were sent, at a Unix time in milliseconds."""

    def offer_health(self, health: PlainObject) -> None:
        """Take a health object."""

    def offer_alert(self, alert: PlainObject) -> None:
        """Take an alert object."""


class RunningSink(Sink, Answers):
    """A sink that has work of its own to do, takes its leave at the end, and answers for itself."""

    async def run(self) -> None:
        """Work for ever."""
        raise NotImplementedError

    async def drain(self, seconds: float) -> None:
        """Finish what waits, within the time; `run` then returns."""
        raise NotImplementedError


class ListeningSink(RunningSink):
    """A running sink to which others connect. `run` clears `_ended` as it begins and sets it as it ends."""

    def __init__(self, kind: PartKind, listener: Listener) -> None:
        self._kind = kind
        self._listener = listener
        self._leaving = asyncio.Event()
        self._ended = asyncio.Event()
        self._ended.set()

    @property
    def port(self) -> int | None:
        """The port that it listens on; None where it does not."""
        return self._listener.port

    def part(self) -> Part:
        """How it is now: `waiting` until it listens, or cannot."""
        return self._listener.part(self._kind)

    async def drain(self, seconds: float) -> None:
        """Give those who read what they can take now, and take leave of all, within `seconds`; `run` then returns."""
        self._leaving.set()
        await happens_within(self._ended, seconds)
