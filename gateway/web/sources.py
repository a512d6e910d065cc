"""What the web shows beside what it is offered: given in by the service, asked when somebody wants to see it."""

from collections.abc import Awaitable, Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from pathlib import PurePath
from typing import Protocol

from gateway.feed.health import Health
from gateway.feed.heard_object import HeardPayload
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject
from gateway.history.period import Period
from gateway.history.station_past import PastFrame
from gateway.judge.verdict import Judged


@dataclass(frozen=True, slots=True)
class PolicyFile:
    """One file of the policy in force."""

    name: str
    """As the operator wrote it. Of an absolute path only the last part is shown: the rest tells of the machine."""

    text: str

    @property
    def shown_name(self) -> str:
        """The name as it is shown."""
        path = PurePath(self.name)
        return path.name if path.is_absolute() else self.name

    def to_object(self) -> PlainObject:
        """The plain form."""
        return {"name": self.shown_name, "text": self.text}


@dataclass(frozen=True, slots=True)
class PolicyPlace:
    """A rule or a rate, and where it stands."""

    kind: str
    """`rule` or `rate`."""

    name: str
    file: PolicyFile
    line: int
    """Counted from 1."""


@dataclass(frozen=True, slots=True)
class PublishedPolicy:
    """The policy in force, and whether a newer one was refused."""

    label: str
    """Name and digest, `receive-only@3fa9c1`."""

    files: Sequence[PolicyFile] = ()
    """The first one first, then those that it includes."""

    entries: Sequence[PolicyPlace] = ()
    """Its rules, then its rates, each in the order in which they are asked."""

    refused: str = ""
    """Why the newer one cannot be used; empty where there is none."""

    def to_object(self, decided: Mapping[str, int]) -> PlainObject:
        """The plain form; `decided` says how often each rule and rate decided."""
        entries = [
            {
                "kind": entry.kind, "name": entry.name, "file": entry.file.shown_name, "line": entry.line,
                "decided": decided.get(entry.name, 0),
            }
            for entry in self.entries
        ]  # fmt: skip
        plain: PlainObject = {
            "policy": self.label, "files": [file.to_object() for file in self.files], "entries": entries,
        }  # fmt: skip
        if self.refused:
            plain["refused"] = self.refused
        return plain


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

    policy: Callable[[], PublishedPolicy]
    waits_for: Callable[[], Sequence[str]]
    """What the gateway still waits for before it is ready; empty once it is."""

    past: PastSource
    alerts: Callable[[], Sequence[PlainObject]]
    """Those raised lately, the newest first."""

    what_if: Callable[[str, int], Awaitable[PlainObject]]
    """What a policy, a text, would have done since a time in Unix milliseconds, or `problems` with it.

    Raises `PastError`.
    """
