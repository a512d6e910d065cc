"""What a station file says of its club, as values."""

from dataclasses import dataclass
from enum import StrEnum
from pathlib import Path

from gateway.club.engine import EngineOptions
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
    """A station's part in its club: what its post and its hub are made from."""

    subjects: Subjects
    role: Role
    engine: EngineOptions
    callsign: str
    post_name: str
    lease_ms: int
    freshness_ms: int
    slices: Slices = ALL
    """Of the club's frames, those that its hub takes."""

    place: Place | None = None
    embedded: tuple[Path, int] | None = None
    """Folder and port of an engine of its own, in a child process."""
