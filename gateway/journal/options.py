"""What the journal and the captures are told: where they lie, how much they keep, and how kind they are to the disk."""

from dataclasses import dataclass
from pathlib import Path

from gateway.groundwork.back_off import Pauses
from gateway.groundwork.duration import DAY_MS

MEGABYTE = 1_000_000
FLUSH_MS = 60_000
"""What is heard in this time a loss of power may take, where the station file does not say."""


@dataclass(frozen=True, slots=True)
class Limits:
    """How much may wait for the disk."""

    waiting: int = 4000
    """Frames; beyond it the oldest are shed. One takes 0.4 to 1.5 kB, so that the default stays under 6 MB."""

    batch: int = 500
    """Frames that are written at one go, at most; so many are settled without waiting for more."""


@dataclass(frozen=True, slots=True)
class DiskPace:
    """How long the journal waits for what, in seconds."""

    gather: float = 0.5
    """After the first frame of a batch, for more. A process that is killed loses what was heard in that time."""

    settle: float = FLUSH_MS / 1000
    """How long what is written waits to be settled: a loss of power takes no more. A memory card wears out by the
    number of writes."""

    work_in: float = 600.0
    """How long what is settled may stand beside the journal before it is worked into it: whoever reads the journal of
    a running gateway misses no more. A database writes a page or more for everything that it changes, however little:
    where each minute's frames are a transaction, each costs the card twice as much."""

    pauses: Pauses = Pauses(first=1.0, longest=60.0, spread=0.0)
    """Before the disk is tried again."""

    look: float = 5.0
    """How often it is looked whether what is written still stands in its place."""

    tidy: float = 60.0
    """How often what is too old is deleted, and what was shed is said."""

    stalled: float = 15.0
    """When a disk that has not answered for so long is said to be stuck."""


@dataclass(frozen=True, slots=True)
class JournalOptions:
    """Where the journal lies and how much it keeps."""

    path: Path
    keep_ms: int
    """What was heard longer ago is deleted."""

    octets: int = 2000 * MEGABYTE
    """The most that the file's content may take: beyond it the oldest goes, however young. About 3 million frames."""

    limits: Limits = Limits()
    pace: DiskPace = DiskPace()


@dataclass(frozen=True, slots=True)
class CaptureOptions:
    """Where captures lie and how much they keep."""

    folder: Path
    file_octets: int = 16 * MEGABYTE
    """A file that has grown to this, compressed, is ended and another one begun."""

    file_ms: int = DAY_MS
    """So is one that was begun so long ago."""

    octets: int = 1000 * MEGABYTE
    """The most that all files together may take: beyond it the oldest are deleted."""

    limits: Limits = Limits()
    pace: DiskPace = DiskPace()
