"""What outlives a restart: one protocol for everything that must be known again. No I/O, no clock.

Two things bring a memory back. Now and then it is dumped, in pieces, under its name. And what was heard after that
dump is heard by it again (`recall`), since every frame is kept anyway: so nothing need be dumped at every frame.

Elapsed times in a piece are those of the run that dumped it. `Past.shift_ms` makes them those of this one: what
happened before the start then has an elapsed time below nothing, and windows and ages come out right by themselves.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any, Generic, Protocol, TypeVar

ENTRIES_OF_A_PIECE = 500
"""What a memory puts into one piece at most: making it takes less than a millisecond, on a small computer too."""

FRAMES = "frames"
"""A piece that holds a list of `[run, sequence]` under this name gets those frames back with it."""

F_co = TypeVar("F_co", covariant=True)
F_contra = TypeVar("F_contra", contravariant=True)
T = TypeVar("T")
K = TypeVar("K")
V = TypeVar("V")


@dataclass(frozen=True, slots=True)
class Past(Generic[F_co]):
    """What comes with a piece when it is restored."""

    shift_ms: int
    """To be added to its elapsed times."""

    frames: Sequence[F_co | None] = ()
    """Those that the piece names under `FRAMES`, in its order; None for one that is no longer kept."""


class Remembered(Protocol[F_contra]):
    """One memory that outlives a restart."""

    @property
    def name(self) -> str:
        """What it is called where it is kept. No other memory is called so."""

    @property
    def version(self) -> int:
        """Of the form of its pieces: pieces of another version are left out."""

    @property
    def every_ms(self) -> int:
        """For how long at least it is not dumped again, for the sake of the disk; 0: every change is kept at once."""

    @property
    def revision(self) -> int:
        """Rises with every change that is worth keeping."""

    def dump(self) -> Iterator[Mapping[str, Any]]:
        """All that is known, in pieces of bounded size, what JSON can hold. Making one takes bounded time.

        An empty piece says nothing, and is not kept: it only lets the others have their turn.

        What changes while the pieces are taken, one after the other, may be in them or not: `recall` brings it again.
        """

    def restore(self, piece: Mapping[str, Any], past: Past[F_contra]) -> None:
        """Take in a piece. Never raises: what is of another shape is left out."""

    def recall(self, heard: F_contra) -> None:
        """Hear again a frame that was heard after the dump, or while it was taken."""


class Shelves(Generic[T]):
    """Keys, spread over shelves of about half a piece each: so they are gone through a few at a time as they change.

    Who was there all the while is met once; who came or went meanwhile, once or not at all. They come in no order.
    """

    def __init__(self, limit: int) -> None:
        """For so many keys at most."""
        self._shelves: list[dict[T, None]] = [{} for _ in range(limit // (ENTRIES_OF_A_PIECE // 2) + 1)]

    def put(self, key: T) -> None:
        """It is known from now on."""
        self._shelf_of(key)[key] = None

    def take(self, key: T) -> None:
        """It is known no longer."""
        self._shelf_of(key).pop(key, None)

    def pieces(self) -> Iterator[list[T]]:
        """All of them, in lists of `ENTRIES_OF_A_PIECE` at most."""
        for shelf in self._shelves:
            yield from in_pieces(list(shelf))

    def _shelf_of(self, key: T) -> dict[T, None]:
        return self._shelves[hash(key) % len(self._shelves)]


def pieces_of(memory: Mapping[K, V], size: int = ENTRIES_OF_A_PIECE) -> Iterator[list[tuple[K, V]]]:
    """What a memory holds, in lists of `size` at most: of what changes meanwhile, as it is when its list is made."""
    for keys in in_pieces(list(memory), size):
        yield [(key, memory[key]) for key in keys if key in memory]


def listed(entries: object) -> list[Any]:
    """The entries of a list in a piece; none where that is another thing."""
    return entries if isinstance(entries, list) else []


def in_pieces(entries: Iterable[T], size: int = ENTRIES_OF_A_PIECE) -> Iterator[list[T]]:
    """The entries, in lists of `size` at most."""
    rest = iter(entries)
    while piece := list(islice(rest, size)):
        yield piece
