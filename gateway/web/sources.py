"""What the web shows beside what it is offered: given in by the service, asked when somebody wants to see it."""

from collections.abc import Awaitable, Callable, Iterable, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Protocol

from gateway.feed.health import Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject
from gateway.history.period import Period
from gateway.history.station_past import PastFrame
from gateway.judge.source import PolicySource
from gateway.judge.verdict import Judged


class PastError(Exception):
    """The past cannot be told; the message says why, and what to do."""

    def __init__(self, why: str, status: HTTPStatus = HTTPStatus.SERVICE_UNAVAILABLE) -> None:
        """`status`: with which it is answered."""
        super().__init__(why)
        self.status = status


@dataclass(frozen=True, slots=True)
class HeardPage:
    """Some frames, the newest first."""

    heard: Sequence[PastFrame]
    has_more: bool


class PastSource(Protocol):
    """What is known of the past. Every method may raise `PastError`."""

    async def reach(self, period: Period, against: Period | None, post: str) -> PlainObject:
        """The reach of the antenna; at a hub of a club of one `post`, or where that is empty of all."""

    async def history(self, period: Period, *, by_day: bool) -> PlainObject:
        """What was heard when."""

    async def station(self, callsign: str, period: Period, recent: Sequence[PastFrame]) -> PlainObject:
        """A station's past; `recent` are its frames of late, the newest first, in the journal or not."""

    async def heard(
        self, source: str, limit: int, before: tuple[str, int] | None, recent: Sequence[PastFrame]
    ) -> HeardPage:
        """Frames of a station; `before` is the run and the sequence of a frame that came later."""

    async def frames_up_to(self, run: str, sequence: int) -> list[HeardPayload]:
        """A frame and those heard before it, it being the last one; none where it is not kept."""

    async def explain(self, frames: Sequence[Judged]) -> PlainObject:
        """The steps to the verdict on the last of these frames, those before it in mind, in the plain form."""


@dataclass(frozen=True, slots=True)
class WebSources:
    """Each is called on the event loop's own thread, and must answer at once."""

    health: Callable[[], Health]
    stations: Callable[[], Iterable[Station]]
    """Those remembered now; they are copied into a list before anything else happens."""

    policy: Callable[[], PolicySource]
    """By which it is decided what goes up."""

    refused_policy: Callable[[], str]
    """Why a newer one cannot be used; empty where there is none."""

    waits_for: Callable[[], Sequence[str]]
    """What the gateway still waits for before it is ready; empty once it is."""

    past: PastSource
    alerts: Callable[[], Sequence[PlainObject]]
    """Those raised lately, the newest first."""

    what_if: Callable[[str, int], Awaitable[PlainObject]]
    """What a policy, a text, would have done since a time in Unix milliseconds, or `problems` with it.

    Raises `PastError`.
    """
