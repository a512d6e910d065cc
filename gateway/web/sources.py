"""What the web shows beside what it is offered: given in by the service, asked when somebody wants to see it."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import PurePath

from gateway.feed.health import Health
from gateway.feed.stations import Station
from gateway.frames.plain import PlainObject


@dataclass(frozen=True, slots=True)
class PolicyFile:
    """One file of the policy in force."""

    name: str
    """As the operator wrote it. Of an absolute path only the last part is shown: the rest tells of the machine."""

    text: str

    def to_object(self) -> PlainObject:
        """The plain form."""
        path = PurePath(self.name)
        return {"name": path.name if path.is_absolute() else self.name, "text": self.text}


@dataclass(frozen=True, slots=True)
class PublishedPolicy:
    """The policy in force, and whether a newer one was refused."""

    label: str
    """Name and digest, `receive-only@3fa9c1`."""

    files: Sequence[PolicyFile] = ()
    """The first one first, then those that it includes."""

    refused: str = ""
    """Why the newer one cannot be used; empty where there is none."""

    def to_object(self) -> PlainObject:
        """The plain form."""
        plain: PlainObject = {"policy": self.label, "files": [file.to_object() for file in self.files]}
        if self.refused:
            plain["refused"] = self.refused
        return plain


@dataclass(frozen=True, slots=True)
class WebSources:
    """Each is called on the event loop's own thread, and must answer at once."""

    health: Callable[[], Health]
    stations: Callable[[], Iterable[Station]]
    """Those remembered now; they are copied into a list before anything else happens."""

    policy: Callable[[], PublishedPolicy]
    waits_for: Callable[[], Sequence[str]]
    """What the gateway still waits for before it is ready; empty once it is."""
