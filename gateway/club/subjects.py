"""What everything of a club is called in the engine: subjects, the stream and its stores. No I/O.

stile.<club>.post.<post>.heard.<slice>   frames that a post heard, by who sent them (`slices.py`)
stile.<club>.post.<post>.heard           the same of posts up to version 0.2.0, which hubs of all slices read
stile.<club>.post.<post>.beat            a post's word that it lives, each second; its stamp tells the stream's time
stile.<club>.hub.<hub>.beat              the same of a hub
stile.<club>.policy                      the policy in force from here on
"""

import re
from dataclasses import dataclass
from enum import Enum, auto
from functools import lru_cache

from gateway.club.slices import SLICES, Slices

REMEMBERED_SUBJECTS = 16_384
"""A thousand posts' with all their slices."""

MEMBER_NAME = r"[a-z0-9][a-z0-9-]{0,31}"
"""Of a club, a post or a hub: one word of a subject, and of the engine's stores."""


def is_member_name(text: str) -> bool:
    """Whether a club, a post or a hub can be called so."""
    return re.fullmatch(MEMBER_NAME, text) is not None


def member_name(callsign: str) -> str:
    """What a post or hub is called where the operator gives it no name."""
    return callsign.lower()


class Word(Enum):
    """What a message of the stream is, as its subject says."""

    HEARD = auto()
    POST_BEAT = auto()
    HUB_BEAT = auto()
    POLICY = auto()


@dataclass(frozen=True, slots=True)
class Spoken:
    """What a subject says: which word, and of whom. The engine holds every member to its own subjects."""

    word: Word
    member: str = ""
    slice: int | None = None
    """Of frames that were heard; None: the post is of a version that does not tell it."""


_WORDS: dict[tuple[str, str], tuple[Word, int | None]] = {
    ("post", "beat"): (Word.POST_BEAT, None),
    ("hub", "beat"): (Word.HUB_BEAT, None),
    ("post", "heard"): (Word.HEARD, None),
} | {("post", f"heard.{number}"): (Word.HEARD, number) for number in range(SLICES)}


@dataclass(frozen=True, slots=True)
class Subjects:
    """All names of one club. Raises `ValueError` where the club cannot be called so."""

    club: str

    def __post_init__(self) -> None:
        if not is_member_name(self.club):
            raise ValueError(f"{self.club!r} is no name of a club: small letters, digits and hyphens, at most 32")

    @property
    def stream(self) -> str:
        """The one stream that everything goes through."""
        return f"stile-{self.club}"

    @property
    def everything(self) -> str:
        """The subjects of the stream."""
        return f"stile.{self.club}.>"

    @property
    def policy(self) -> str:
        """Where the policy is told."""
        return f"stile.{self.club}.policy"

    @property
    def keys(self) -> str:
        """The store of the lease and of the hubs' logins."""
        return f"stile-{self.club}-keys"

    @property
    def snapshots(self) -> str:
        """The store of what the judge remembers."""
        return f"stile-{self.club}-snapshots"

    def heard(self, post: str, number: int) -> str:
        """Where a post hands on what it hears of a slice."""
        return f"stile.{self.club}.post.{post}.heard.{number}"

    def post_beat(self, post: str) -> str:
        """Where a post says that it lives."""
        return f"stile.{self.club}.post.{post}.beat"

    def hub_beat(self, hub: str) -> str:
        """Where a hub says that it lives."""
        return f"stile.{self.club}.hub.{hub}.beat"

    def taken_by(self, slices: Slices) -> list[str]:
        """What a hub that takes these is told: their frames, and all that is no frame. Empty: everything."""
        if slices.are_all:
            return []
        frames = [self.heard("*", number) for number in slices.numbers]
        return [*frames, self.post_beat("*"), self.hub_beat("*"), self.policy]

    def read(self, subject: str) -> Spoken | None:
        """What a message under `subject` is; None where it is nothing of the club's."""
        return _read(self.club, subject)


@lru_cache(maxsize=REMEMBERED_SUBJECTS)
def _read(club: str, subject: str) -> Spoken | None:
    if subject == Subjects(club).policy:
        return Spoken(Word.POLICY)
    words = subject.split(".", 4)
    if len(words) != 5 or words[:2] != ["stile", club]:  # noqa: PLR2004 - as the module's first words show
        return None
    _, _, kind, member, what = words
    entry = _WORDS.get((kind, what))
    return None if entry is None or not is_member_name(member) else Spoken(entry[0], member, entry[1])
