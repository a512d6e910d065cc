"""A sink: who is told of everything that the house should see, and never makes anyone wait."""

from collections.abc import Sequence

from gateway.feed.heard_object import HeardPayload
from gateway.frames.plain import PlainObject
from gateway.groundwork.part import Figure, Part


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


class RunningSink(Sink):
    """A sink that has work of its own to do, takes its leave at the end, and answers for itself (`part.Answers`)."""

    async def run(self) -> None:
        """Work for ever."""
        raise NotImplementedError

    async def drain(self, seconds: float) -> None:
        """Finish what waits, within the time; `run` then returns."""
        raise NotImplementedError

    def part(self) -> Part:
        """How it is now."""
        raise NotImplementedError

    def figures(self) -> Sequence[Figure]:
        """All that it counts."""
        raise NotImplementedError
