"""What a station file says of its club, as values."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from gateway.club.engine import EngineOptions
from gateway.club.hub import HubOptions
from gateway.club.post import PostOptions
from gateway.club.slices import ALL, Slices
from gateway.club.subjects import Subjects
from gateway.frames.heard import Place


class Role(StrEnum):
    """What a station is in its club."""

    POST = "post"
    """It hands on what its receivers hear."""

    HUB = "hub"
    """It judges everything, and one hub sends."""


@dataclass(frozen=True, slots=True)
class ClubOptions:
    """A station's part in its club."""

    subjects: Subjects
    role: Role
    engine: EngineOptions
    callsign: str
    post_name: str
    lease_ms: int
    freshness_ms: int
    slices: Slices = ALL
    place: Place | None = None
    embedded: tuple[Path, int] | None = None
    """Folder and port of an engine of its own, in a child process."""

    @property
    def post(self) -> PostOptions:
        """What is told to the one that hands on what this station's receivers hear."""
        return PostOptions(self.engine, self.subjects, self.post_name, self.freshness_ms, self.place)

    @property
    def hub(self) -> HubOptions:
        """What is told to the hub."""
        return HubOptions(
            self.engine, self.subjects, self.callsign, self.lease_ms, self.freshness_ms, slices=self.slices
        )
