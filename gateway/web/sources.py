"""What the web shows beside what it is offered: given in by the service, asked when somebody wants to see it."""

from collections.abc import Awaitable, Callable, Iterable, Sequence
from dataclasses import dataclass

from gateway.feed.health import Health
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject
from gateway.judge.source import PolicySource
from gateway.web.knowledge import Knowledge


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

    past: Knowledge
    alerts: Callable[[], Sequence[PlainObject]]
    """Those raised lately, the newest first."""

    what_if: Callable[[str, int], Awaitable[PlainObject]]
    """What a policy, a text, would have done since a time in Unix milliseconds, or `problems` with it.

    Raises `PastError`.
    """
